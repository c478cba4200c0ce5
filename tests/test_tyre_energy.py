"""The tyre's elastic part keeps its energy: work over edges, closed paths, force against energy, grids, turns."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from models.rigid import SOFT_EDGE
from models.tyre import fit_tyre, plate_table
from sim.physics.arrays import W_SINK
from sim.physics.tyre_pressure import Pressed, fade
from sim.validation.truck import sheet, truck
from sim.validation.tyre import Rig
from terrain.heightfield import Heightfield, sample

Array = NDArray[np.float64]
SHEET = sheet("gundi").tyres.front
R = fit_tyre(SHEET)[0].radius
LOAD = float(np.median(plate_table(SHEET)[1]))


def along_x(z: Callable[[Array], Array], spacing: float) -> Rig:
    """The front tyre of the 1/24 over ground that changes along x only."""
    x = np.arange(-0.1, 0.1 + spacing / 2.0, spacing)
    y = np.arange(-0.02, 0.02 + spacing / 2.0, spacing)
    return Rig(truck("gundi"), Heightfield.of(np.repeat(z(x)[:, None], len(y), axis=1), (-0.1, -0.02), spacing))


def push(rig: Rig, start: float, end: float, points: int = 160) -> tuple[float, float, float]:
    """Work over load times rise, largest pull over load, and rise (m) of a wheel pushed along under its load."""
    xs = np.linspace(start, end, points)
    heights = np.array([rig.lift(float(x), LOAD) for x in xs])
    pull = -np.array([rig.force(float(x), float(z))[0] for x, z in zip(xs, heights, strict=True)])
    rise = float(heights[-1] - heights[0])
    return float(np.trapezoid(pull, xs)) / (LOAD * rise), float(pull.max()) / LOAD, rise


@pytest.mark.slow
@pytest.mark.parametrize("spacing", [0.002, 0.001])
@pytest.mark.parametrize("share", [0.1, 0.2, 0.4, 0.6, 0.8])
def test_pushing_a_wheel_up_a_step_takes_load_times_height(share: float, spacing: float) -> None:
    work, _, rise = push(along_x(lambda x: np.where(x > 3e-4, share * R, 0.0), spacing), -1.6 * R, 0.9 * R)
    assert rise == pytest.approx(share * R, rel=0.01)
    assert work == pytest.approx(1.0, abs=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("spacing", [0.002, 0.001])
@pytest.mark.parametrize("slope", [0.3, 0.7, 1.5, 3.0])
def test_pushing_a_wheel_up_a_ramp_takes_load_times_height(slope: float, spacing: float) -> None:
    rig = along_x(lambda x: np.clip(slope * x, 0.0, 0.6 * R), spacing)
    work, pull, _ = push(rig, -1.4 * R, 1.2 * R + 0.6 * R / slope)
    assert work == pytest.approx(1.0, abs=0.03)
    if slope < 0.5:  # long enough to roll on it alone: pull over load is the slope
        assert pull == pytest.approx(slope, rel=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("radius", [0.1, 0.3])
def test_a_rounded_edge_takes_as_much(radius: float) -> None:
    edge, high = radius * R, 0.4 * R

    def rounded(x: Array) -> Array:
        arc = high - edge + np.sqrt(np.maximum(edge**2 - np.minimum(x - edge, 0.0) ** 2, 0.0))
        return np.where(x > 0.0, np.where(x < edge, arc, high), 0.0)

    assert push(along_x(rounded, 0.001), -1.6 * R, 0.9 * R + edge)[0] == pytest.approx(1.0, abs=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("wide", [0.2, 1.0])
def test_what_a_cleat_or_a_gap_takes_it_gives_back(wide: float) -> None:
    for height in (0.2 * R, -0.4 * R):
        rig = along_x(lambda x, h=height: np.where((x > 0.0) & (x < wide * R), h, 0.0), 0.001)
        xs = np.linspace(-1.6 * R, 1.6 * R + wide * R, 200)
        pull = np.array([-rig.force(float(x), rig.lift(float(x), LOAD))[0] for x in xs])
        assert abs(np.trapezoid(pull, xs)) < 0.03 * np.trapezoid(np.abs(pull), xs)


def rough(seed: int) -> Heightfield:
    """Random ground with steps of a third of the radius, on 2 mm."""
    rng = np.random.default_rng(seed)
    noise = np.kron(rng.uniform(0.0, 0.1 * R, (10, 10)), np.ones((8, 8)))
    steps = np.kron(rng.integers(0, 2, (4, 4)) * 0.3 * R, np.ones((20, 20)))
    return Heightfield.of(noise + steps, (-0.08, -0.08), 0.002)


@pytest.mark.parametrize("seed", range(6))
def test_a_closed_path_over_any_ground_gains_nothing(seed: int) -> None:
    """Once round in x, y and z: the work is what the grid's parts leave, a small share of what went in and out."""
    rig = Rig(truck("gundi"), rough(seed))
    middle = 0.3 * R + R
    turns = np.linspace(0.0, 2.0 * math.pi, 241)
    height = middle - 0.16 * R + 0.1 * R * np.sin(2.0 * turns)
    places = np.column_stack([0.5 * R * np.cos(turns), 0.5 * R * np.sin(turns), height])
    force = np.array([rig.force(float(x), float(z), y=float(y))[:3] for x, y, z in places])
    steps = 0.5 * np.sum((force[1:] + force[:-1]) * np.diff(places, axis=0), axis=1)
    assert abs(steps.sum()) < 0.005 * np.abs(steps).sum()


def stored(
    ring_pressure: Array, step: float, crown: float, half: float, edge: float, ground: Heightfield, c: Array
) -> float:
    """Energy of the field over the ground inside the tyre, by columns a tenth of a millimetre deep: the plain twin."""
    fine = 2.5e-4
    x, y = np.meshgrid(
        np.arange(c[0] - R, c[0] + R, fine), np.arange(c[1] - half - edge, c[1] + half + edge, fine), indexing="ij"
    )
    top, total, dz = sample(ground, x, y), 0.0, 1e-4
    for k in range(round((float(top.max()) - (c[2] - R)) / dz)):
        z = top - (k + 0.5) * dz
        side = y - c[1]
        depth = R - np.hypot(x - c[0], z - c[2]) - crown * side**2
        window = np.clip((half + 0.5 * edge - np.abs(side)) / edge, 0.0, 1.0)
        p = np.interp(depth, step * np.arange(len(ring_pressure)), ring_pressure, left=0.0)
        total += float(np.sum(np.where(depth > 0.0, p * window, 0.0))) * fine * fine * dz
    return total


@pytest.mark.slow
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_the_force_is_the_energy_s_slope(axis: int) -> None:
    rng = np.random.default_rng(3)
    z = 0.12 * R * rng.random((41, 41)) + np.where(np.arange(41)[:, None] > 22, 0.25 * R, 0.0)
    ground = Heightfield.of(z, (-0.04, -0.04), 0.002)
    rig = Rig(truck("gundi"), ground)
    tyre, c, h = rig.tyre, np.array([-0.004, 0.001, 1.08 * R]), 2e-4
    shift = h * np.eye(3)[axis]
    arguments = (tyre.pressure(), tyre.law_step, tyre.crown, 0.5 * tyre.width, SOFT_EDGE * tyre.width, ground)
    slope = (stored(*arguments, c + shift) - stored(*arguments, c - shift)) / (2.0 * h)
    force = rig.force(float(c[0]), float(c[2]), y=float(c[1]))[:3]
    # Parts of 2 mm cells on rough ground against columns of a quarter of a millimetre.
    assert force[axis] == pytest.approx(-slope, abs=0.01 * float(np.linalg.norm(force)))


@pytest.mark.parametrize("seed", range(6))
def test_no_part_of_level_ground_is_deeper_in_the_tyre_than_the_wheel_sinks(seed: int) -> None:
    """Wherever the wheel stands on the grid and whichever way it points: parts that it only touches too."""
    rng = np.random.default_rng(seed)
    rig = Rig(truck("gundi"), Heightfield.of(np.zeros((91, 91)), (-0.09, -0.09), 0.002))
    for _ in range(200):
        x, y, yaw, sink = rng.uniform((-0.004, -0.004, -3.2, 5e-4), (0.004, 0.004, 3.2, 0.006))
        deepest = float(rig.force(x, R - sink, y=y, yaw=yaw)[W_SINK])
        assert 0.0 < deepest <= sink * (1.0 + 1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_a_shoulder_s_share_is_the_mean_of_its_ramp(seed: int) -> None:
    """Mean and centre of a trapezoid's rise over a stretch, against the sum over its thousandths."""
    rng = np.random.default_rng(seed)
    edge, outer = 0.004, 0.012
    w = Pressed(*[0, *[(0.0, 0.0, 0.0)] * 6, *[0.0] * 4, 0.01, outer, edge, 1.0 / edge, *[0.0] * 8])
    assert (w.outer, w.edge, w.per_edge) == (outer, edge, 1.0 / edge)
    for _ in range(200):
        side, half = rng.uniform((0.0, 1e-5), (0.016, 0.003))
        t = side + half * (2.0 * (np.arange(1000) + 0.5) / 1000.0 - 1.0)
        ramp = np.clip((outer - t) / edge, 0.0, 1.0)
        share, inward = fade(w, side, half * half)
        assert share == pytest.approx(ramp.mean(), abs=1e-5)
        if share > 1e-3:
            assert inward == pytest.approx(side - float(np.average(t, weights=ramp)), abs=2e-3 * half)
        assert 0.0 <= inward <= half * (1.0 + 1e-9)


@pytest.mark.parametrize("degrees", [10, 30, 45, 90])
@pytest.mark.parametrize("spacing", [0.002, 0.001])
def test_a_step_is_as_hard_whichever_way_the_grid_lies(degrees: int, spacing: float) -> None:
    """Pull and load at the same place over a step whose face is as wide as a cell, straight and turned."""
    turn = math.radians(degrees)
    x = np.arange(-0.09, 0.09 + spacing / 2.0, spacing)
    along = x[:, None] * math.cos(turn) + x[None, :] * math.sin(turn)
    face = R / 14.0

    def forces(turned: bool) -> Array:
        way = along if turned else x[:, None] + 0.0 * x[None, :]
        rig = Rig(truck("gundi"), Heightfield.of(np.clip(way / face, 0.0, 1.0) * 0.4 * R, (-0.09, -0.09), spacing))
        found = []
        for place in np.linspace(-0.7 * R, 0.3 * R, 15):
            # The same wheel on the same step, both turned.
            a = turn if turned else 0.0
            f = rig.force(place * math.cos(a), 1.28 * R, y=place * math.sin(a), yaw=a)
            found.append([f[0] * math.cos(a) + f[1] * math.sin(a), f[2]])
        return np.array(found)

    straight, turned = forces(False), forces(True)
    # A grid of 2 mm holds a face of 2 mm with a blur of a cell; it goes with the square of the cell. At a given height
    # of the axle, where a hundredth of the step in height is five of load.
    allowed = 0.04 if spacing > 0.0015 else 0.012
    assert np.abs(turned - straight).max() < allowed * np.abs(straight).max()
    assert turned.sum(axis=0) == pytest.approx(straight.sum(axis=0), rel=2.0 * allowed)


@pytest.mark.parametrize("spacing", [0.002, 0.001])
@pytest.mark.parametrize("degrees", [10, 30])
def test_an_upright_wheel_on_a_side_slope_stands_on_its_shoulder(degrees: int, spacing: float) -> None:
    """Force against a plain sum of p n dA over the slope, a tenth of a millimetre apart (docs/tyre_law.md)."""
    grade = math.tan(math.radians(degrees))
    axis = np.arange(-0.05, 0.05 + spacing / 2.0, spacing)
    rig = Rig(truck("gundi"), Heightfield.of(np.tile(grade * axis, (len(axis), 1)), (-0.05, -0.05), spacing))
    tyre, fine = rig.tyre, 1e-4
    half, edge = 0.5 * tyre.width, SOFT_EDGE * tyre.width
    x, y = np.meshgrid(np.arange(-R, R, fine), np.arange(-half - edge, half + edge, fine), indexing="ij")
    # A light load lies on few parts.
    for share, within in ((0.85, 0.015), (0.95, 0.04)):
        # Above the middle of a level line by less than the radius and by what the uphill shoulder stands higher.
        high = share * R + 0.5 * half * grade
        r = np.hypot(x, grade * (y + 2e-4) - high)
        depth = R - r - tyre.crown * y**2
        window = np.clip((half + 0.5 * edge - np.abs(y)) / edge, 0.0, 1.0)
        p = np.interp(depth, tyre.law_step * np.arange(len(tyre.pressure())), tyre.pressure(), left=0.0)
        total = float(np.sum(np.where(depth > 0.0, p * window, 0.0))) * fine * fine
        found = rig.force(3e-4, high, y=2e-4)[:3]
        assert found == pytest.approx([0.0, -grade * total, total], rel=within, abs=0.005 * total)
