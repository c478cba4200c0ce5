"""The test bench: flat ground, a tilt table, and standing still."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.rigid import WHEEL_BODIES, RigidModel
from sim.layout import M_MOTOR, S_Q, W_NORMAL
from sim.simulation import GRAVITY, STEP, Simulation
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
Direction = str
"""The side that is low: left, right, back (nose up), front (nose down)."""
_LOW = {"left": (0.0, 1.0), "right": (0.0, -1.0), "back": (-1.0, 0.0), "front": (1.0, 0.0)}
_HIGH_WHEELS = {"left": [1, 3], "right": [0, 2], "back": [0, 1], "front": [2, 3]}
LIFTED = 1.0e-3
"""Share of the weight below which the high wheels count as lifted."""


def flat(half: float = 2.0, spacing: float = 0.02) -> Heightfield:
    """Level ground, metres to every side of the origin."""
    n = 2 * round(half / spacing) + 1
    return Heightfield.of(np.zeros((n, n)), (-half, -half), spacing)


def tilted(angle: float, low: Direction) -> tuple[float, float, float]:
    """Gravity (m/s^2) on level ground as on ground tilted by ``angle`` (rad) with this side low."""
    x, y = _LOW[low]
    return GRAVITY * math.sin(angle) * x, GRAVITY * math.sin(angle) * y, -GRAVITY * math.cos(angle)


def standing(
    model: RigidModel,
    *,
    step: float = STEP,
    ground: Heightfield | None = None,
    rest: float = 1.0,
    phase: float = 0.0,
    x: float = 0.0,
) -> Simulation:
    """Truck set down at ``x`` (m) with the brake on, after ``rest`` s.

    ``phase``: part of a spoke spacing by which the wheels are turned beforehand.
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
    simulation: Simulation,
    low: Direction,
    near: float,
    table: Table | None = None,
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
        simulation.set_gravity(tilted(angle, low))
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
        simulation.set_gravity(tilted(float(angle), low))
        simulation.advance(burst)
    return end


def cg_place(simulation: Simulation) -> Array:
    """World position (3,) of the centre of gravity, m, as of the last step."""
    bodies, origin = simulation.model.bodies, simulation.points[0]
    places = [b.mass * (origin[i, :3] + simulation.frames[i] @ b.p_BBcm) for i, b in enumerate(bodies)]
    return np.asarray(np.sum(places, axis=0) / simulation.model.mass)
