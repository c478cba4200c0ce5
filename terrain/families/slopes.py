"""Slopes to climb, descend and cross."""

from __future__ import annotations

import math

import numpy as np

from terrain.piece import Grid, Piece
from terrain.profile import Profile
from terrain.yardstick import Yardstick

TURN_RADIUS = 2.0
"""Radius of the curves into and out of slopes in wheelbases: gentle enough that the belly is never the limit."""
SLOPE_LENGTH = 4.0
"""Even slope in wheelbases; the truck has driven three of them when its CG passes the finish."""
FINISH = 3.5
ROLL_PER_WHEELBASE = math.radians(10.0)
"""Mean twist of the ground into a side-hill from one axle to the other."""


def climb(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Even slope up of ``level`` degrees with curved foot and crest."""
    return _hill(math.radians(level), yard)


def descent(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Even slope down of ``level`` degrees with curved crest and foot."""
    return _hill(-math.radians(level), yard)


def _hill(slope: float, yard: Yardstick) -> Piece:
    wb, plan = yard.wheelbase, math.cos(slope)
    entry = Profile().arc(slope, TURN_RADIUS * wb)
    even = entry.straight(SLOPE_LENGTH * wb * plan)
    whole = even.arc(0.0, TURN_RADIUS * wb)

    return Piece(
        length=whole.length,
        shape=whole.across,
        finish=entry.length + FINISH * wb * plan,
        crux=(entry.length, even.length),
        rise=whole.rise,
        descending=slope < 0.0,
    )


def side_hill(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Side slope of ``level`` degrees to traverse, uphill on the left; the ground rolls into it and out again."""
    angle, wb = math.radians(level), yard.wheelbase
    roll = roll_length(angle, yard)
    crux = (roll, roll + SLOPE_LENGTH * wb)

    def shape(x: Grid, y: Grid) -> Grid:
        return np.asarray(np.tan(angle * there_and_back(x, crux, roll)) * y)

    return Piece(length=crux[1] + roll, shape=shape, finish=roll + FINISH * wb, crux=crux)


def roll_length(angle: float, yard: Yardstick) -> float:
    """Plan length, m, in which the ground rolls from level to a side slope of ``angle`` rad."""
    return max(2.0, abs(angle) / ROLL_PER_WHEELBASE) * yard.wheelbase


def there_and_back(x: Grid, crux: tuple[float, float], ramp: float) -> Grid:
    """Share from 0 to 1 that eases in over ``ramp`` m before the crux and out over ``ramp`` m behind it."""
    return np.minimum(ease((x - crux[0] + ramp) / ramp), ease((crux[1] + ramp - x) / ramp))


def ease(t: Grid) -> Grid:
    """Blend from 0 to 1 with level ends (3 t^2 - 2 t^3)."""
    s = np.clip(t, 0.0, 1.0)
    return np.asarray(s * s * (3.0 - 2.0 * s))
