"""The test bench: flat ground, standing still, and a tilt table that finds where a truck tips with its real springs and
tyres, in any direction round it.

Directions are degrees from straight ahead, to the left: the side that is low. 0 is nose down, 90 left side low, 180
nose up, 270 right side low.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from sim.physics.arrays import M_MOTOR, S_Q, W_NORMAL
from sim.physics.simulation import STEP, Simulation
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
Direction = str
"""The side that is low: left, right, back (nose up), front (nose down)."""
_LOW = {"front": 0.0, "left": 0.5 * math.pi, "back": math.pi, "right": 1.5 * math.pi}
_HIGH_WHEELS = {"left": [1, 3], "right": [0, 2], "back": [0, 1], "front": [2, 3]}
LIFTED = 1.0e-3
"""Share of the weight below which the high wheels count as lifted."""
DIRECTIONS = 16
SHAFTS = "braked"
"""The drag brake holds the drive shafts while the table tilts; with free ones a truck would roll off it."""
STICKY = 5.0
"""Grip with which nothing slides before it tips."""
EARLY_DEG, VERY_EARLY_DEG = 8.0, 25.0
"""How far before the rigid truck's angle the table starts to turn slowly: springs and tyres cost less than the first,
and where they do not it is tried again from the second."""
AGAIN_DEG = 16.0
"""The same for the second tilt towards a corner."""
STEP_S = 1.0e-3
SMOOTHING_S = 0.03
_EDGES = ((0, 1), (1, 3), (3, 2), (2, 0))
"""Wheels at the ends of each edge of the footprint: front, right, rear, left."""


@dataclass(frozen=True)
class Tilted:
    """Where a truck tips on the table."""

    direction: tuple[float, ...]
    """deg, side that is low."""
    angle: tuple[float, ...]
    """deg of tilt; NaN where it does not tip."""
    again: tuple[tuple[float, float], ...] = ()
    """Direction and angle, deg, of a second tilt towards each corner: slow from further down, wheels turned."""

    @property
    def scatter(self) -> float:
        """Largest difference (deg) that the second tilt of a corner made; NaN where none was tilted again."""
        apart = [abs(angle - self.at(direction)) for direction, angle in self.again]
        return max((a for a in apart if not math.isnan(a)), default=math.nan)

    def at(self, direction: float) -> float:
        """Tilt (deg) in one of the directions; NaN if it was not tried."""
        found = [a for d, a in zip(self.direction, self.angle, strict=True) if abs(d - direction) < 1e-6]
        return found[0] if found else math.nan


def how(trucks: Iterable[Tilted]) -> str:
    """What simulated tip angles hold for, in words: shafts, sliding, and how far corners scatter."""
    known = [one.scatter for one in trucks if not math.isnan(one.scatter)]
    said = f"shafts {SHAFTS}, no sliding"
    return f"{said}; corners tilted twice differ by up to {max(known):.1f}°" if known else said


def round_the_truck(count: int = DIRECTIONS) -> tuple[float, ...]:
    """Evenly spread directions (deg), straight ahead first."""
    return tuple(360.0 * k / count for k in range(count))


def tilted(model: RigidModel, directions: Sequence[float] = ()) -> Tilted:
    """Tip a truck that stands with its brake on and does not slide, once in each direction (deg; left out, 16).

    Braked, each drive shaft holds what twist it came to rest with. Towards its corners, where a truck rocks from one
    edge of its footprint to the next, that history shows: those directions are tilted twice.
    """
    directions = tuple(directions) or round_the_truck()
    sticky = replace(model, tyres=tuple(replace(ring, grip=STICKY) for ring in model.tyres))  # type: ignore[arg-type]
    rigid = rigid_angle(model, np.radians(directions))
    found = [_tips_at(sticky, math.radians(d), float(r)) for d, r in zip(directions, rigid, strict=True)]
    twice = sorted({_nearest(directions, corner) for corner in _corners(model)})
    again = [
        _tips_at(sticky, math.radians(directions[k]), float(rigid[k]), (AGAIN_DEG, VERY_EARLY_DEG), 0.5) for k in twice
    ]
    return Tilted(
        directions, tuple(math.degrees(angle) for angle in found),
        tuple((directions[k], math.degrees(angle)) for k, angle in zip(twice, again, strict=True)),
    )  # fmt: skip


def _corners(model: RigidModel) -> Array:
    """Directions (4,) deg from the centre of gravity to the wheels."""
    x, y = (model.origins()[list(WHEEL_BODIES), :2] - model.cg()[:2]).T
    return np.asarray(np.degrees(np.arctan2(y, x)))


def _nearest(directions: Sequence[float], wanted: float) -> int:
    return min(range(len(directions)), key=lambda k: abs((directions[k] - wanted + 180.0) % 360.0 - 180.0))


def rigid_angle(model: RigidModel, direction: Array) -> Array:
    """Tilt (n,) rad at which the weight of a rigid truck passes the edge of its footprint; directions (n,) rad."""
    contacts, cg = model.origins()[list(WHEEL_BODIES), :2], model.cg()
    return np.asarray(np.arctan2(reach(contacts, cg, direction), cg[2]))


def reach(contacts: Array, cg: Array, direction: Array) -> Array:
    """Distance (m) from the centre of gravity to the footprint's edge in directions (n,), rad from ahead.

    ``contacts`` (4, 2): front left, front right, rear left, rear right, m.
    """
    corners = np.asarray(contacts)[[0, 1, 3, 2]]
    unit = np.stack([np.cos(direction), np.sin(direction)], axis=1)
    out = np.full(len(direction), np.inf)
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        # Clockwise from above: the outside is to the left of the walk.
        outward = np.array([-(q - p)[1], (q - p)[0]])
        outward /= np.linalg.norm(outward)
        gap, pace = float((p - cg[:2]) @ outward), unit @ outward
        with np.errstate(divide="ignore", invalid="ignore"):
            out = np.minimum(out, np.where(pace > 1e-12, gap / pace, np.inf))
    return out


def _tips_at(
    model: RigidModel, direction: float, rigid: float, begin: tuple[float, float] = (EARLY_DEG, VERY_EARLY_DEG),
    phase: float = 0.0,
) -> float:  # fmt: skip
    for early in begin:
        start = max(rigid - math.radians(early), 0.0)
        with standing(model, step=STEP_S, rest=0.5, phase=phase) as simulation:
            angle = _turned_over(simulation, direction, start, Table())
        if angle > start + math.radians(1.0) or start == 0.0:
            break
    return angle


def _turned_over(simulation: Simulation, direction: float, slowly_from: float, table: Table) -> float:
    """Tilt (rad) at which both wheels off some edge of the footprint carry nothing; NaN if none do by 89 degrees."""
    step = simulation.step
    burst = max(round(0.005 / step), 1)
    for angle in np.linspace(0.0, slowly_from, max(math.ceil(slowly_from / (table.fast * burst * step)), 1) + 1)[1:]:
        simulation.set_gravity(gravity_on_slope(float(angle), direction))
        simulation.advance(burst)
    simulation.advance(round(table.rest / step))
    floor = LIFTED * simulation.model.mass * GRAVITY
    off_edge = [[w for w in range(4) if w not in edge] for edge in _EDGES]
    load, angle, burst = simulation.wheels[:, W_NORMAL].copy(), slowly_from, max(round(0.001 / step), 1)
    while angle < math.radians(89.0):
        angle += table.rate * burst * step
        simulation.set_gravity(gravity_on_slope(angle, direction))
        simulation.advance(burst)
        load += (simulation.wheels[:, W_NORMAL] - load) * burst * step / SMOOTHING_S
        if min(float(load[pair].sum()) for pair in off_edge) < floor:
            return float(angle)
    return math.nan


def gravity_on_slope(angle: float, direction: float) -> tuple[float, float, float]:
    """Gravity (m/s^2) on level ground as on ground tilted by ``angle`` with this direction low; rad."""
    along = GRAVITY * math.sin(angle)
    return along * math.cos(direction), along * math.sin(direction), -GRAVITY * math.cos(angle)


def gravity_towards(angle: float, low: Direction) -> tuple[float, float, float]:
    """Gravity (m/s^2) on level ground as on ground tilted by ``angle`` (rad) with this side of the truck low."""
    return gravity_on_slope(angle, _LOW[low])


def flat(half: float = 2.0, spacing: float = 0.02) -> Heightfield:
    """Level ground, metres to every side of the origin."""
    n = 2 * round(half / spacing) + 1
    return Heightfield.of(np.zeros((n, n)), (-half, -half), spacing)


def standing(
    model: RigidModel, *, step: float = STEP, ground: Heightfield | None = None, rest: float = 1.0, phase: float = 0.0,
    x: float = 0.0,
) -> Simulation:
    """Truck set down at ``x`` (m) with the brake on, after ``rest`` s.

    ``phase``: part of the tread elements' spacing by which the wheels are turned beforehand.
    """
    simulation = Simulation(model, ground or flat(), step=step)
    simulation.place(x, 0.0, 0.0)
    if phase:
        turn_wheels(simulation, phase * 2.0 * math.pi / model.tyres[0].n_round)
    simulation.command(0.0, 0.0, True)
    simulation.advance(round(rest / step))
    return simulation


def turn_wheels(simulation: Simulation, angle: float) -> None:
    """Turn all wheels of a truck just set down, and the motor with them, by an angle (rad)."""
    simulation.state[[S_Q + body - 1 for body in WHEEL_BODIES]] = angle
    simulation.memory[M_MOTOR] = angle * simulation.model.drive.front_reduction
    simulation.engine.reset(simulation.state)


@dataclass(frozen=True)
class Table:
    """How a tilt table is turned: fast up to a few degrees before the angle looked for, then slowly."""

    rate: float = math.radians(1.5)
    """rad/s near lift-off."""
    fast: float = math.radians(25.0)
    before: float = math.radians(2.5)
    rest: float = 0.5
    """s to come to rest before the slow part."""


def lift_off(
    simulation: Simulation, low: Direction, near: float, table: Table | None = None,
    watch: Callable[[float], None] | None = None,
) -> float:
    """Angle (rad) at which the last high-side wheel lifts off a tilt table; the truck stands on it already.

    ``near`` (rad) only tells from where on to turn slowly. The load is averaged over 30 ms. Returns NaN if nothing
    lifts by 89 degrees.
    """
    table = table or Table()
    step = simulation.step
    angle = turn_to(simulation, low, 0.0, near - table.before, table.fast)
    simulation.advance(round(table.rest / step))
    high = _HIGH_WHEELS[low]
    floor = LIFTED * simulation.model.mass * GRAVITY
    load = float(simulation.wheels[high, W_NORMAL].sum())
    burst = max(round(0.001 / step), 1)
    while angle < math.radians(89.0):
        angle += table.rate * burst * step
        simulation.set_gravity(gravity_towards(angle, low))
        simulation.advance(burst)
        load += (float(simulation.wheels[high, W_NORMAL].sum()) - load) * burst * step / 0.03
        if watch is not None:
            watch(angle)
        if load < floor:
            return angle
    return math.nan


def turn_to(simulation: Simulation, low: Direction, start: float, end: float, rate: float) -> float:
    """Turn the table steadily from one angle to another (rad, rad/s); returns where it ends."""
    burst = max(round(0.005 / simulation.step), 1)
    steps = max(math.ceil(abs(end - start) / (rate * burst * simulation.step)), 1)
    for angle in np.linspace(start, end, steps + 1)[1:]:
        simulation.set_gravity(gravity_towards(float(angle), low))
        simulation.advance(burst)
    return end


def cg_place(simulation: Simulation) -> Array:
    """World position (3,) of the centre of gravity, m, as of the last step."""
    bodies, origin = simulation.model.bodies, simulation.points[0]
    places = [b.mass * (origin[i, :3] + simulation.frames[i] @ b.p_BBcm) for i, b in enumerate(bodies)]
    return np.asarray(np.sum(places, axis=0) / simulation.model.mass)
