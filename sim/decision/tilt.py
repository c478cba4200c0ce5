"""A truck on a tilt table: where it tips with its real springs and tyres, in any direction round it.

Directions are degrees from straight ahead, to the left: the side that is low. 0 is nose down, 90 left side low, 180
nose up, 270 right side low.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.rigid import WHEEL_BODIES, RigidModel
from sim.layout import W_NORMAL
from sim.simulation import GRAVITY, Simulation
from sim.validation.bench import LIFTED, Table, standing

Array = NDArray[np.float64]
DIRECTIONS = 16
STICKY = 5.0
"""Grip with which nothing slides before it tips."""
EARLY_DEG, VERY_EARLY_DEG = 8.0, 25.0
"""How far before the rigid truck's angle the table starts to turn slowly: springs and tyres cost less than the first,
and where they do not it is tried again from the second."""
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

    def at(self, direction: float) -> float:
        """Tilt (deg) in one of the directions; NaN if it was not tried."""
        found = [a for d, a in zip(self.direction, self.angle, strict=True) if abs(d - direction) < 1e-6]
        return found[0] if found else math.nan


def round_the_truck(count: int = DIRECTIONS) -> tuple[float, ...]:
    """Evenly spread directions (deg), straight ahead first."""
    return tuple(360.0 * k / count for k in range(count))


def tilted(model: RigidModel, directions: Sequence[float] = ()) -> Tilted:
    """Tip a truck that stands with its brake on and does not slide, once in each direction (deg; left out, 16)."""
    directions = tuple(directions) or round_the_truck()
    sticky = replace(model, tyres=tuple(replace(ring, grip=STICKY) for ring in model.tyres))  # type: ignore[arg-type]
    rigid = rigid_angle(model, np.radians(directions))
    found = [_tips_at(sticky, math.radians(d), float(r)) for d, r in zip(directions, rigid, strict=True)]
    return Tilted(directions, tuple(math.degrees(angle) for angle in found))


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


def _tips_at(model: RigidModel, direction: float, rigid: float) -> float:
    for early in (EARLY_DEG, VERY_EARLY_DEG):
        start = max(rigid - math.radians(early), 0.0)
        with standing(model, step=STEP_S, rest=0.5) as simulation:
            angle = _turned_over(simulation, direction, start, Table())
        if angle > start + math.radians(1.0) or start == 0.0:
            break
    return angle


def _turned_over(simulation: Simulation, direction: float, slowly_from: float, table: Table) -> float:
    """Tilt (rad) at which both wheels off some edge of the footprint carry nothing; NaN if none do by 89 degrees."""
    step = simulation.step
    burst = max(round(0.005 / step), 1)
    for angle in np.linspace(0.0, slowly_from, max(math.ceil(slowly_from / (table.fast * burst * step)), 1) + 1)[1:]:
        simulation.set_gravity(_gravity(float(angle), direction))
        simulation.advance(burst)
    simulation.advance(round(table.rest / step))
    floor = LIFTED * simulation.model.mass * GRAVITY
    off_edge = [[w for w in range(4) if w not in edge] for edge in _EDGES]
    load, angle, burst = simulation.wheels[:, W_NORMAL].copy(), slowly_from, max(round(0.001 / step), 1)
    while angle < math.radians(89.0):
        angle += table.rate * burst * step
        simulation.set_gravity(_gravity(angle, direction))
        simulation.advance(burst)
        load += (simulation.wheels[:, W_NORMAL] - load) * burst * step / SMOOTHING_S
        if min(float(load[pair].sum()) for pair in off_edge) < floor:
            return float(angle)
    return math.nan


def _gravity(angle: float, direction: float) -> tuple[float, float, float]:
    """Gravity (m/s^2) on level ground as on ground tilted by ``angle`` with this direction low; rad."""
    along = GRAVITY * math.sin(angle)
    return along * math.cos(direction), along * math.sin(direction), -GRAVITY * math.cos(angle)
