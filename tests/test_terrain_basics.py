"""Sampling, the first families and the obstacle texts against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain import catalog
from terrain.errors import TerrainError
from terrain.heightfield import Heightfield, normal, sample
from terrain.obstacle import Obstacle
from terrain.yardstick import Yardstick

WHEELBASE, RADIUS = 0.140, 0.028


def built(text: str, seed: int = 1) -> Obstacle:
    return catalog.from_text(text, wheelbase=WHEELBASE, tyre_radius=RADIUS, seed=seed)


def test_rows_run_along_x_on_an_asymmetric_grid() -> None:
    """A plane z = 0.5 + 2 x - 3 y is bilinear: sampling and normal are exact to rounding."""
    x, y = np.meshgrid(0.1 * np.arange(5), -0.2 + 0.1 * np.arange(9), indexing="ij")
    ground = Heightfield.of(0.5 + 2 * x - 3 * y, (0.0, -0.2), 0.1)
    px, py = np.array([0.03, 0.37, 0.25]), np.array([-0.17, 0.55, 0.1])
    np.testing.assert_allclose(sample(ground, px, py), 0.5 + 2 * px - 3 * py, rtol=1e-13)
    expected = np.array([-2.0, 3.0, 1.0]) / math.sqrt(14.0)
    np.testing.assert_allclose(normal(ground, px, py), np.broadcast_to(expected, (3, 3)), rtol=1e-12)


@given(x=st.floats(-1, 2), y=st.floats(-1, 2))
def test_bilinear_inside_and_edge_value_outside(x: float, y: float) -> None:
    """One twisted cell z = x y has the closed form x y; beyond its edges the nearest edge point decides."""
    ground = Heightfield.of([[0.0, 0.0], [0.0, 1.0]], (0.0, 0.0), 1.0)
    expected = min(max(x, 0.0), 1.0) * min(max(y, 0.0), 1.0)
    assert float(sample(ground, x, y)) == pytest.approx(expected, abs=1e-15)


def test_normal_outside_the_grid_is_level_across_the_edge() -> None:
    ground = Heightfield.of([[0.0, 1.0], [1.0, 2.0]], (0.0, 0.0), 1.0)
    np.testing.assert_allclose(normal(ground, 5.0, 0.5), np.array([0.0, -1.0, 1.0]) / math.sqrt(2.0), rtol=1e-12)
    np.testing.assert_allclose(normal(ground, 5.0, 5.0), [0.0, 0.0, 1.0])


@pytest.mark.parametrize(
    ("z", "spacing", "field"),
    [
        (np.full((3, 3), np.nan), 0.1, "z"),
        (np.zeros(3), 0.1, "z"),
        (np.zeros((1, 3)), 0.1, "z"),
        (np.zeros((3, 3)), 0.0, "spacing"),
        (np.zeros((3, 3)), math.nan, "spacing"),
    ],
)
def test_bad_grids_are_refused(z: np.ndarray, spacing: float, field: str) -> None:
    with pytest.raises(TerrainError) as error:
        Heightfield.of(z, (0.0, 0.0), spacing)
    assert error.value.field == field
    assert "\n" not in str(error.value)


def test_a_grid_above_the_limit_is_refused_before_it_is_looked_at() -> None:
    huge = np.broadcast_to(np.float64(0.0), (100_000, 100_000))
    with pytest.raises(TerrainError, match="limit"):
        Heightfield(huge, (0.0, 0.0), 0.002)


@pytest.mark.parametrize(("radius", "cell"), [(0.028, 0.002), (0.030, 0.002), (0.036, 0.0025), (0.060, 0.0045)])
def test_cell_follows_the_tyre(radius: float, cell: float) -> None:
    assert Yardstick(5 * radius, radius).cell == pytest.approx(cell, rel=1e-12)


@pytest.mark.parametrize("height", [5.0, 30.0, 60.0])
def test_ledge_face_is_one_cell_wide_and_exactly_high(height: float) -> None:
    ground = built(f"ledge:{height},roughness=0").ground
    rises = np.diff(ground.z[:, ground.z.shape[1] // 2])
    assert np.count_nonzero(rises) == 1
    assert rises.max() == pytest.approx(height / 1000, rel=1e-12)


@pytest.mark.parametrize("text", ["climb:40", "descent:40", "ledge-on-slope:30,slope=40"])
def test_slopes_have_their_angle_over_the_crux_and_no_kink(text: str) -> None:
    obstacle = built(f"{text},roughness=0")
    ground, cell = obstacle.ground, obstacle.ground.spacing
    rises = np.diff(ground.z[:, 0])
    slope = np.degrees(np.arctan(rises / cell))
    centre = ground.x[:-1] + 0.5 * cell
    inside = (centre > obstacle.crux[0] + cell) & (centre < obstacle.crux[1] - cell)
    sign = -1 if obstacle.descending else 1
    if obstacle.family == "ledge-on-slope":
        face = np.argmax(rises)
        assert rises[face] - cell * math.tan(math.radians(40)) == pytest.approx(0.030, rel=1e-9)
        slope[face] = 40.0
    np.testing.assert_allclose(slope[inside], sign * 40.0, rtol=1e-9)
    # An arc of radius two wheelbases turns by at most 1/(R cos 40) per metre of plan: 0.53 degrees a cell.
    assert np.abs(np.diff(slope)).max() < math.degrees(cell / (2 * WHEELBASE * math.cos(math.radians(40)))) * 1.01


def test_side_hill_rises_to_the_left_at_its_angle() -> None:
    obstacle = built("side-hill:35,roughness=0")
    middle = np.mean(obstacle.crux)
    n = normal(obstacle.ground, middle, np.array([-0.1, 0.1]))
    np.testing.assert_allclose(n, [[0, -math.sin(math.radians(35)), math.cos(math.radians(35))]] * 2, atol=1e-12)
    assert obstacle.lane_half_width == pytest.approx(0.75 * WHEELBASE)


@pytest.mark.parametrize(
    "text", ["ledge:30", "ledge-down:30", "ledge-on-slope:20", "side-hill:30", "climb:50", "descent:50"]
)
def test_every_obstacle_gives_a_level_start_and_room(text: str) -> None:
    obstacle = built(f"{text},roughness=0")
    ground = obstacle.ground
    x_min, x_max, y_min, y_max = ground.extent
    start = ground.z[ground.x < 2 * WHEELBASE]
    assert np.ptp(start) < 1e-12
    assert x_min <= -WHEELBASE
    assert x_max >= obstacle.finish_s + 1.499 * WHEELBASE
    assert y_min <= -1.2 * WHEELBASE
    assert y_max >= 1.2 * WHEELBASE
    assert obstacle.crux[0] < obstacle.finish_s < obstacle.lane[-1, 0]
    assert tuple(obstacle.lane[0]) == (obstacle.start.x, obstacle.start.y)


def test_same_seed_same_bits_and_other_seed_other_ground() -> None:
    a, b, c = built("ledge:30", 5), built("ledge:30", 5), built("ledge:30", 6)
    assert np.array_equal(a.ground.z, b.ground.z)
    assert not np.array_equal(a.ground.z, c.ground.z)


def test_a_seed_puts_the_same_bumps_at_the_same_places_on_every_level() -> None:
    low = built("ledge:10", 5).ground.z - built("ledge:10,roughness=0", 5).ground.z
    high = built("ledge:40", 5).ground.z - built("ledge:40,roughness=0", 5).ground.z
    # 40 mm of ledge are added and taken away again: rounding of 1e-17 m.
    np.testing.assert_allclose(low, high, atol=1e-16)


def test_parse_reads_levels_and_parameters() -> None:
    assert catalog.parse("ledge:30") == ("ledge", 30.0, {})
    assert catalog.parse(" ledge-on-slope:12.5,slope=20 ") == ("ledge-on-slope", 12.5, {"slope_deg": 20.0})
    assert catalog.parse("climb:45,roughness_mm=0.5").detail == {"roughness_mm": 0.5}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("ledgr:30", "did you mean ledge"),
        ("ledge", "level is missing"),
        ("ledge:high", "not a number"),
        ("ledge:nan", "not a number"),
        ("ledge:900", "use 0 to 168"),
        ("climb:30,slope=2", "no such parameter"),
        ("ledge-on-slope:30,slope=80", "use 0 to 60"),
        ("ledge-on-slope:30,slope=8,slope_deg=9", "given twice"),
        ("ledge:30,roughness=400", "out of range"),
        ("\x1b[31m:3", "x1b"),
        ("x" * 5000, "too long"),
    ],
)
def test_bad_texts_get_one_plain_line(text: str, says: str) -> None:
    with pytest.raises(TerrainError, match=says) as error:
        built(text)
    assert str(error.value).isprintable()
    assert len(str(error.value)) < 400


@given(st.text(max_size=40))
def test_no_text_gets_past_as_anything_but_a_request_or_a_terrain_error(text: str) -> None:
    try:
        request = catalog.parse(text)
    except TerrainError as error:
        message = str(error)
    else:
        message = request.family
    assert message.isprintable()
