"""Tilt-table angle of a truck whose springs and tyres give way; SI, rad.

A rigid truck tips at ``tan(angle) = lever / height``. On a tilt table the lower springs and tyres are pressed and the
upper ones let go, so that the centre of gravity moves towards the low side (TRB Special Report 265, 2002, ch. 2: a
truck with give tips earlier). For springs alone, with the roll R per unit of lateral weight, this is Gillespie's
``a / g = (T / 2h) / (1 + R (1 - h_r / h))`` (Fundamentals of Vehicle Dynamics, SAE 1992, ch. 9, from memory). Left out:
tyres that shear along the ground or fold, treads that roll onto their edge, stops reached by one axle before the other.
Whole simulated tilts of the three invented trucks came out 0.4 to 0.8 deg lower sideways and 2.6 to 3.2 deg lower nose
up, where the locked lower tyres carry all weight: :data:`SIDE_DOUBT` and :data:`CLIMB_DOUBT` allow for it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

SIDE_DOUBT, CLIMB_DOUBT = math.radians(1.0), math.radians(3.5)
"""How far this closed form may be off, as a standard deviation, sideways and nose up or down."""


def doubt_of(to: str) -> float:
    """Standard deviation (rad) of :func:`tip_angle` for a truck that falls to this side."""
    return SIDE_DOUBT if to in ("left", "right") else CLIMB_DOUBT


@dataclass(frozen=True)
class Yielding:
    """A truck seen along the axis it tips about: end-on for a side tilt, from the side for a climb."""

    mass: float
    height: float
    """m of the whole centre of gravity."""
    lever: float
    """m from it to the tip line, truck level."""
    sprung_mass: float
    arm: float
    """m of the sprung centre of gravity over the axis that the body leans about."""
    stiffness: float
    """N m/rad of the springs about that axis."""
    most_lean: float
    """rad at which the stops are reached."""
    base: float
    """m between the tyres that take and lose load."""
    tyre_stiffness: float
    """N/m of all tyres on one side together."""
    lost_share: float = 0.5
    """Share of the weight that moves from the upper to the lower tyres until the truck tips."""


def roll_gradient(sprung_mass: float, arm: float, stiffness: float, gravity: float) -> float:
    """Roll (rad) per m/s^2 of lateral acceleration: ``m d / (K - m g d)`` (Barton & Fieldhouse, 2018, eq. 3.18)."""
    return sprung_mass * arm / (stiffness - sprung_mass * gravity * arm)


def lean(truck: Yielding, tilt: float, gravity: float) -> float:
    """Lean (rad) of the body on its springs at a tilt of the table, at most to the stops.

    The balance ``K lean = m g d sin(tilt + lean)`` as it is: set straight, it has no answer near ``K = m g d``.
    """
    couple = truck.sprung_mass * gravity * truck.arm

    def spare(turn: float) -> float:
        return truck.stiffness * turn - couple * math.sin(tilt + turn)

    if spare(truck.most_lean) <= 0.0:
        return truck.most_lean
    return 0.0 if spare(0.0) >= 0.0 else float(brentq(spare, 0.0, truck.most_lean, xtol=1e-12))


def tip_angle(truck: Yielding, gravity: float) -> float:
    """Tilt (rad) at which the truck tips.

    ``lever = (h - drop) tan(a) + (m_s / m) d sin(lean) + h tyre roll``, the tyres by then having moved all of the upper
    side's load, and ``drop = (m_s / m) d (1 - cos(lean))``. Stiff springs and tyres give ``atan(lever / h)``.
    """
    weight = truck.mass * gravity

    def spare(tilt: float) -> float:
        moved = truck.lost_share * weight * math.cos(tilt)
        tyre_roll = 2.0 * moved / truck.tyre_stiffness / truck.base
        turn, arm = lean(truck, tilt, gravity), truck.sprung_mass / truck.mass * truck.arm
        shift = arm * math.sin(turn) + truck.height * tyre_roll
        return truck.lever - shift - (truck.height - arm * (1.0 - math.cos(turn))) * math.tan(tilt)

    if spare(0.0) <= 0.0:
        return 0.0
    return float(brentq(spare, 0.0, math.radians(89.9), xtol=1e-10))
