"""Every family: geometry against closed forms, room, determinism, and dimensions against the standards."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain import catalog
from terrain.families import rocks, slopes, standards
from terrain.families.registry import FAMILIES
from terrain.heightfield import sample
from terrain.obstacle import Obstacle
from terrain.profile import Profile
from terrain.yardstick import Yardstick

SIZES = {"1/24": (0.140, 0.028), "1/18": (0.160, 0.0325), "1/10": (0.313, 0.060)}


def built(text: str, size: str = "1/24", seed: int = 1, scale: float | None = None) -> Obstacle:
    wheelbase, radius = SIZES[size]
    return catalog.from_text(text, wheelbase=wheelbase, tyre_radius=radius, seed=seed, scale=scale)


def side(obstacle: Obstacle, y: float = 0.0) -> np.ndarray:
    return sample(obstacle.ground, obstacle.ground.x, y)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", FAMILIES)
def test_every_family_at_three_levels_starts_level_and_has_room(name: str, size: str) -> None:
    wheelbase, radius = SIZES[size]
    for level in FAMILIES[name].levels(Yardstick(wheelbase, radius)):
        obstacle = built(f"{name}:{level},roughness=0", size)
        ground = obstacle.ground
        x_min, x_max, y_min, y_max = ground.extent
        assert np.ptp(ground.z[ground.x < 2 * wheelbase - 1e-9]) < 1e-12
        assert x_min <= -wheelbase + 1e-9
        assert x_max >= obstacle.finish_s + 1.4 * wheelbase
        assert min(-y_min, y_max) >= 1.2 * wheelbase - 1e-9
        assert 0.0 < obstacle.crux[0] < obstacle.crux[1]
        assert obstacle.crux[0] < obstacle.finish_s < obstacle.lane[-1, 0] <= x_max
        assert ground.z.size < 400_000
        assert obstacle.ground.spacing <= radius / 14 + 0.00026


@pytest.mark.parametrize("name", FAMILIES)
def test_same_seed_same_bits(name: str) -> None:
    level = FAMILIES[name].levels(Yardstick(*SIZES["1/24"]))[1]
    a, b = built(f"{name}:{level}", seed=7), built(f"{name}:{level}", seed=7)
    assert np.array_equal(a.ground.z, b.ground.z)
    assert a.detail == b.detail


@pytest.mark.parametrize("name", ["boulders", "slab", "rough", "stepfield"])
def test_random_families_follow_the_seed(name: str) -> None:
    level = FAMILIES[name].levels(Yardstick(*SIZES["1/24"]))[1]
    assert not np.array_equal(
        built(f"{name}:{level},roughness=0", seed=1).ground.z, built(f"{name}:{level},roughness=0", seed=2).ground.z
    )


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(sorted(FAMILIES)),
    share=st.floats(0, 1),
    wheelbase=st.floats(0.1, 0.35),
    seed=st.integers(0, 9),
)
def test_any_allowed_level_gives_finite_ground(name: str, share: float, wheelbase: float, seed: int) -> None:
    yard = Yardstick(wheelbase, 0.2 * wheelbase)
    low, high = FAMILIES[name].limit(yard)
    obstacle = catalog.make(
        name, low + share * (high - low), wheelbase=wheelbase, tyre_radius=0.2 * wheelbase, seed=seed
    )
    assert np.isfinite(obstacle.ground.z).all()


def test_profile_arcs_are_circles() -> None:
    """Points of an arc of radius 2 m lie 2 m from its centre, and the joints have equal slopes."""
    whole = Profile().straight(1.0).arc(0.6, 2.0).straight(0.5).arc(-0.4, 0.7)
    x = np.linspace(1.0, 1.0 + 2.0 * math.sin(0.6), 50)
    np.testing.assert_allclose(np.hypot(x - 1.0, whole(x) - 2.0), 2.0, rtol=1e-12)
    fine = np.linspace(-0.5, whole.length, 20_001)
    kinks = np.abs(np.diff(whole(fine), 2)) / (fine[1] - fine[0]) ** 2
    # Curvature d2z/dx2 of a circle is 1 / (R cos^3): at most 1 / (0.7 cos^3 0.6) here; a kink would give 1e3.
    assert kinks.max() < 1.05 / (0.7 * math.cos(0.6) ** 3)
    assert whole.slope == -0.4


def test_climb_gains_the_height_of_its_slope_and_arcs() -> None:
    """Even slope of 4 wheelbases at 40 degrees and two arcs of 2 wheelbases: 4 sin + 2 * 2 (1 - cos) wheelbases."""
    wb, angle = 0.140, math.radians(40)
    piece = slopes.climb(40.0, Yardstick(wb, 0.028), np.random.default_rng(0))
    assert piece.rise == pytest.approx(wb * (4 * math.sin(angle) + 4 * (1 - math.cos(angle))), rel=1e-9)


def test_area_of_a_slope_is_its_plan_over_the_cosine() -> None:
    obstacle = built("climb:35,roughness=0")
    inside = (obstacle.ground.x > obstacle.crux[0]) & (obstacle.ground.x < obstacle.crux[1])
    z, h = obstacle.ground.z[inside], obstacle.ground.spacing
    dzdx = np.diff(z, axis=0)[:, :-1] / h
    area = h * h * np.sqrt(1 + dzdx**2).sum()
    plan = h * h * dzdx.size
    assert area == pytest.approx(plan / math.cos(math.radians(35)), rel=1e-9)


def test_hump_faces_meet_at_its_breakover_angle() -> None:
    obstacle = built("hump:60,roughness=0")
    slope = np.degrees(np.arctan(np.diff(side(obstacle)) / obstacle.ground.spacing))
    assert slope.max() == pytest.approx(30.0, abs=1e-6)
    assert slope.min() == pytest.approx(-30.0, abs=1e-6)


def test_gully_has_its_depth_and_banks() -> None:
    obstacle = built("gully:60,bank=50,roughness=0")
    z = side(obstacle)
    # The lowest node lies within half a cell of the bottom of a 14 mm arc: z error below cell^2 / (8 R) = 0.04 mm.
    assert -z.min() == pytest.approx(0.060, abs=4e-5)
    assert np.degrees(np.arctan(np.abs(np.diff(z)) / obstacle.ground.spacing)).max() == pytest.approx(50.0, abs=1e-6)


def test_log_is_round_above_its_widest_line() -> None:
    obstacle = built("log:40,buried=20,roughness=0")
    z, x = side(obstacle), obstacle.ground.x
    top = z.max()
    assert top == pytest.approx(0.032, rel=1e-9)
    on = z > 0.012
    middle = x[np.argmax(z)]
    np.testing.assert_allclose(np.hypot(x[on] - middle, z[on] - (top - 0.020)), 0.020, rtol=1e-9)


@pytest.mark.parametrize("skew", [0, 30])
def test_gap_is_as_wide_as_asked_and_its_walls_are_as_plumb_as_a_cell(skew: int) -> None:
    obstacle = built(f"gap:40,depth=50,skew={skew},roughness=0")
    z, h = side(obstacle), obstacle.ground.spacing
    assert z.min() == pytest.approx(-0.028, rel=1e-9)
    wall = np.flatnonzero(np.abs(np.diff(z)) > 1e-9)
    near, far = np.split(wall, [int(np.argmax(np.diff(wall))) + 1])
    # One usual cell where the grid lies along it; askew it is seen wider, on a finer grid.
    face = Yardstick(*SIZES["1/24"]).face
    most = 1 if skew == 0 else math.ceil(face / h / math.cos(math.radians(skew))) + 1
    assert 1 <= len(near) <= most
    assert 1 <= len(far) <= most
    rims = (far[-1] + 1 - near[0]) * h
    assert rims == pytest.approx(0.040 / math.cos(math.radians(skew)), abs=1.01 * h)


def test_skew_lets_the_right_tyre_meet_the_face_first() -> None:
    obstacle = built("off-camber-ledge:30,camber=0,skew=20,roughness=0")
    face = [obstacle.ground.x[np.argmax(side(obstacle, y) > 0.015)] for y in (-0.05, 0.05)]
    assert face[1] - face[0] == pytest.approx(0.10 * math.tan(math.radians(20)), abs=2 * obstacle.ground.spacing)


def test_off_camber_falls_to_the_right() -> None:
    obstacle = built("off-camber-ledge:30,camber=15,roughness=0")
    left, right = (float(sample(obstacle.ground, obstacle.finish_s, y)) for y in (0.1, -0.1))
    assert left - right == pytest.approx(0.2 * math.tan(math.radians(15)), rel=1e-9)


def test_v_notch_walls_rise_on_both_sides_alike() -> None:
    obstacle = built("v-notch:35,slope=15,floor=20,roughness=0")
    middle = float(np.mean(obstacle.crux))
    y = np.linspace(0.03, 0.15, 9)
    up, down = sample(obstacle.ground, middle, y), sample(obstacle.ground, middle, -y)
    np.testing.assert_allclose(up, down, atol=1e-12)
    np.testing.assert_allclose(np.diff(up) / np.diff(y), math.tan(math.radians(35)), rtol=1e-9)


def test_twist_blocks_stand_one_wheelbase_apart_on_opposite_sides() -> None:
    obstacle = built("twist:20,roughness=0")
    left, right = side(obstacle, 0.05), side(obstacle, -0.05)
    assert left.max() == right.max() == pytest.approx(0.020)
    assert not np.any((left > 0.019) & (right > 0.019))
    first = [float(np.mean(obstacle.ground.x[np.flatnonzero(z > 0.0199)[:30]])) for z in (left, right)]
    assert first[1] - first[0] == pytest.approx(0.140, abs=obstacle.ground.spacing)


def test_articulation_ramp_reports_the_published_index() -> None:
    """62 in along a 20 degree ramp on a 94 in wheelbase is an index of 659.57 (published, truncated, as 659)."""
    wheelbase = 0.140
    level = 1000 * wheelbase * 62 / 94
    obstacle = built(f"articulation-ramp:{level},roughness=0")
    assert obstacle.detail["ramp_travel_index"] == pytest.approx(659.57, abs=0.005)
    rises = np.diff(side(obstacle, 0.05)) / obstacle.ground.spacing
    assert np.degrees(np.arctan(rises.max())) == pytest.approx(20.0, abs=1e-6)
    assert side(obstacle, -0.05).max() == 0.0
    # The hub that far along the ramp is 2924 * height / wheelbase on the index scale (published short form).
    height = 1e-3 * level * math.sin(math.radians(20))
    assert 2924 * height / wheelbase == pytest.approx(659.57, abs=0.1)


def test_boulders_keep_to_their_sizes_and_have_no_undercut_grid() -> None:
    rng = np.random.default_rng(3)
    found = rocks.scatter(rng, (0, 2, 0, 1), median=0.04, spread=0.3, cover=0.4, embed=0.45)
    diameters = np.array([2 * rock.semi[0] for rock in found])
    # Several hundred stones: the median's standard error is about 1.25 * 0.3 / sqrt(n) = 2 %; allow four.
    assert len(found) > 300
    assert np.median(diameters) == pytest.approx(0.04, rel=0.08)
    cover = np.sum(np.pi / 4 * diameters**2) / 2.0
    assert cover == pytest.approx(0.4, rel=0.1)
    for a, b in itertools.pairwise(found):
        assert math.hypot(a.x - b.x, a.y - b.y) >= 0.4 * (2 * a.semi[0] + 2 * b.semi[0]) - 1e-12


def test_a_boulder_stands_no_higher_than_its_bare_part() -> None:
    ground = built("boulders:40,embed=60,spread=0,roughness=0").ground
    # Plumb half axis at most 0.95 * 20 mm, of whose height 2c 40 % shows.
    assert 0.0 < ground.z.max() <= 0.95 * 0.040 * 0.4 + 1e-12


def test_slab_ridges_run_along_the_grain() -> None:
    """Along the grain the surface varies less per metre than across it."""
    wavy = built("slab:30,grain=0,roughness=0")
    z = wavy.ground.z - built("slab:30,ridge=0,roughness=0").ground.z
    inside = (wavy.ground.x > wavy.crux[0]) & (wavy.ground.x < wavy.crux[1])
    along, across = np.diff(z[inside], axis=0).std(), np.diff(z[inside], axis=1).std()
    assert across > 3 * along


def test_pitch_roll_ramp_arithmetic() -> None:
    """15 degrees over 0.6 m rise 0.16077 m; built at 1/10 of that at scale 10."""
    for name in ("continuous-ramps", "crossing-ramps"):
        obstacle = built(f"{name}:100,roughness=0", "1/10", scale=10)
        assert obstacle.detail["rise_full_size_mm"] == pytest.approx(160.77, abs=0.005)
        assert obstacle.detail["element_mm"] == pytest.approx(60.0)
        assert obstacle.detail["rise_mm"] == pytest.approx(16.077, abs=5e-4)
        # Crests fall on nodes of the fitted grid to within one cell of 15 degree slope.
        assert obstacle.ground.z.max() == pytest.approx(0.016077, abs=obstacle.ground.spacing * math.tan(0.262))


def test_continuous_ramps_have_no_steps_and_15_degrees_everywhere() -> None:
    obstacle = built("continuous-ramps:400,roughness=0", scale=24)
    inside = (obstacle.ground.x > obstacle.crux[0] + 0.01) & (obstacle.ground.x < obstacle.crux[1] - 0.01)
    z, h = obstacle.ground.z[inside], obstacle.ground.spacing
    dzdx, dzdy = np.diff(z, axis=0)[:, :-1] / h, np.diff(z, axis=1)[:-1] / h
    slope = np.degrees(np.arctan(np.hypot(dzdx, dzdy)))
    assert slope.max() < 15.0 + 1e-6
    # All but the cells on ridges and valleys show the full angle.
    assert np.mean(np.abs(slope - 15.0) < 1e-6) > 0.85


def test_crossing_ramps_have_15_degree_faces_and_plumb_steps() -> None:
    obstacle = built("crossing-ramps:400,roughness=0", scale=24)
    inside = (obstacle.ground.x > obstacle.crux[0] + 0.01) & (obstacle.ground.x < obstacle.crux[1] - 0.01)
    z, h = obstacle.ground.z[inside], obstacle.ground.spacing
    slope = np.degrees(np.arctan(np.hypot(np.diff(z, axis=0)[:, :-1] / h, np.diff(z, axis=1)[:-1] / h)))
    assert np.mean(np.abs(slope - 15.0) < 1e-6) > 0.85
    assert slope.max() > 60.0


@pytest.mark.parametrize(("size", "scale", "post_mm"), [("1/10", 10, 10.0), ("1/18", 18, 5.56), ("1/24", 24, 4.17)])
def test_stepfield_posts_scale_with_the_truck(size: str, scale: float, post_mm: float) -> None:
    """A 100 mm post is 10.0, 5.56, 4.17 mm at 1/10, 1/18, 1/24; heights are whole posts, plan edges straight."""
    obstacle = built("stepfield:100,roughness=0", size, scale=scale)
    assert obstacle.detail["post_mm"] == pytest.approx(post_mm, abs=0.005)
    units = obstacle.ground.z / (1e-3 * obstacle.detail["post_mm"])
    np.testing.assert_allclose(units, np.rint(units), atol=1e-9)
    assert np.rint(units.max()) <= standards.HILL_TOP
    per_post = obstacle.detail["post_mm"] * 1e-3 / obstacle.ground.spacing
    assert per_post == pytest.approx(round(per_post), rel=1e-9)
    assert round(per_post) >= 4


@pytest.mark.parametrize("topography", [0, 1, 2])
def test_stepfield_pallets_are_symmetric_and_of_their_topography(topography: int) -> None:
    units = standards.post_units(np.random.default_rng(5), topography)
    np.testing.assert_array_equal(units, units[::-1, ::-1])
    assert units.min() >= 1
    # Posts of pallets laid one after another: steps of two units at most, everywhere.
    for seed in range(20):
        lot = standards.post_units(np.random.default_rng(seed), topography)
        assert max(np.abs(lot - np.roll(lot, 1, axis)).max() for axis in (0, 1)) <= 2
    rows = units.mean(axis=1)
    if topography == 0:
        assert units.max() <= 3
    if topography == 1:
        assert rows[5] > rows[0] + 2
    if topography == 2:
        assert np.mean(np.diagonal(units[:, ::-1])) > np.mean(np.diagonal(units)) + 1


@pytest.mark.parametrize(("size", "scale", "rail_mm"), [("1/10", 10, 10.0), ("1/18", 18, 5.56), ("1/24", 24, 4.17)])
def test_k_rails_are_of_one_height_and_lie_like_a_k(size: str, scale: float, rail_mm: float) -> None:
    """Straight rail: its whole width at any y. Diagonals: one rail in the middle, two towards the sides.

    A cut along x at a quarter of the K's width meets the straight rail and one diagonal whose length along the cut is
    its width over the sine of 45 degrees.
    """
    obstacle = built("k-rails:100,roughness=0", size, scale=scale)
    rail, width = 1e-3 * obstacle.detail["rail_mm"], 1e-3 * obstacle.detail["width_mm"]
    length = rail + 0.5 * width
    assert 1e3 * rail == pytest.approx(rail_mm, abs=0.005)
    ground = obstacle.ground
    h = ground.spacing
    assert set(np.unique(ground.z)) == {0.0, ground.z.max()}
    assert ground.z.max() == pytest.approx(rail, rel=1e-12)
    begin = obstacle.crux[0]
    inside = (ground.x > begin + 0.5 * h) & (ground.x < begin + length - 0.5 * h)
    row = int(np.argmin(np.abs(ground.y - 0.25 * width)))
    assert h * np.count_nonzero(ground.z[inside, row]) == pytest.approx(rail * (1.0 + math.sqrt(2.0)), abs=2.5 * h)
    # Mirrored about the lane, to the cell that rounding gives.
    middle = int(np.argmin(np.abs(ground.y)))
    reach = min(middle, len(ground.y) - 1 - middle)
    right, left = ground.z[:, middle - reach : middle], ground.z[:, middle + 1 : middle + 1 + reach]
    assert np.mean(right != left[:, ::-1]) < 2.0 * h / rail
    # Straight rail, two diagonals, less what they share near the middle and lose at the corners.
    strokes = rail * width * (1.0 + math.sqrt(2.0))
    # Cut to the width of one K: the ground is wider.
    k = np.abs(ground.y) < 0.5 * width - 0.5 * h
    covered = float(np.mean(ground.z[np.ix_(inside, k)] > 0.0))
    assert covered == pytest.approx(strokes / (width * length), rel=0.1)


def test_hurdle_is_as_high_as_its_full_size_step_over_the_scale() -> None:
    obstacle = built("hurdle:600,roughness=0", scale=24)
    assert obstacle.ground.z.max() == pytest.approx(0.6 / 24, rel=1e-6)


def test_inclined_plane_has_sharp_ends() -> None:
    slope = np.degrees(np.arctan(np.diff(side(built("inclined-plane:35,roughness=0"))) / 0.002))
    assert np.count_nonzero((slope > 0.5) & (slope < 34.5)) <= 2
    assert slope.max() == pytest.approx(35.0, abs=1e-3)
