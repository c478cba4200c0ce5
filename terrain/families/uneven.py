"""Ground that treats left and right differently: notch, twist blocks, articulation ramp."""

from __future__ import annotations

import math

import numpy as np

from terrain.families.ledges import BEYOND, then_level
from terrain.families.slopes import FINISH, SLOPE_LENGTH, TURN_RADIUS, roll_length, there_and_back
from terrain.piece import Grid, Piece
from terrain.profile import Profile
from terrain.yardstick import Yardstick

BLOCKS = 4
INNER_EDGE = 0.06
"""Where a block or ramp begins beside the lane's middle, wheelbases: between the wheels of any truck."""


def v_notch(level: float, yard: Yardstick, rng: np.random.Generator, slope_deg: float, floor_percent: float) -> Piece:
    """Notch up a slope: walls of ``level`` degrees on both sides of a floor narrower than the truck.

    ``floor_percent`` is the floor's width in percent of the wheelbase, ``slope_deg`` the climb along the notch.
    """
    wb, wall, slope = yard.wheelbase, math.radians(level), math.radians(slope_deg)
    plan = math.cos(slope)
    half_floor = yard.snap(0.005 * floor_percent * wb)  # a crease between nodes would hang on the grid
    roll = roll_length(wall, yard)
    rising = Profile().straight(roll).arc(slope, TURN_RADIUS * wb)
    even = rising.straight(SLOPE_LENGTH * wb * plan)
    top = even.arc(0.0, TURN_RADIUS * wb)
    crux = (rising.length, even.length)

    def shape(x: Grid, y: Grid) -> Grid:
        lean = np.tan(wall * there_and_back(x, (roll, top.length), roll))
        return np.asarray(top(x) + lean * np.maximum(np.abs(y) - half_floor, 0.0))

    return Piece(
        length=top.length + roll,
        shape=shape,
        finish=rising.length + FINISH * wb * plan,
        crux=crux,
        rise=top.rise,
        notes=(("floor_mm", 2000.0 * half_floor),),
    )


def twist(level: float, yard: Yardstick, rng: np.random.Generator, ramp_deg: float) -> Piece:
    """Blocks of ``level`` mm left and right by turns, one wheelbase apart, so that the axles twist against each other.

    The blocks' ends slope by ``ramp_deg``; their inner edges are plumb.
    """
    wb, height = yard.wheelbase, level / 1000.0
    ramp = height / math.tan(math.radians(ramp_deg))
    half_top = 0.25 * wb
    first = half_top + ramp
    inner = INNER_EDGE * wb + 0.5 * yard.cell

    def block(x: Grid, middle: float) -> Grid:
        return height * np.clip((half_top + ramp - np.abs(x - middle)) / max(ramp, 1e-9), 0.0, 1.0)

    def shape(x: Grid, y: Grid) -> Grid:
        left = np.max([block(x, first + k * wb) for k in range(0, BLOCKS, 2)], axis=0)
        right = np.max([block(x, first + k * wb) for k in range(1, BLOCKS, 2)], axis=0)
        return np.where(y > inner, left, np.where(y < -inner, right, 0.0))

    last = first + (BLOCKS - 1) * wb + half_top + ramp
    return then_level(last, yard, shape, (0.0, last))


def articulation_ramp(level: float, yard: Yardstick, rng: np.random.Generator, ramp_deg: float) -> Piece:
    """Ramp under the left wheels only, to be driven until the front hub is ``level`` mm along it.

    Ramp travel index = 1000 * level / wheelbase on the usual 20 degrees. The finish takes the CG as half a wheelbase
    behind the front axle, whose hub is then at that distance.
    """
    wb, slope, reach = yard.wheelbase, math.radians(ramp_deg), level / 1000.0
    up = (reach + 0.5 * wb) * math.cos(slope)
    ramp = Profile().arc(slope, yard.cell).straight(up).arc(-slope, yard.cell).straight(up).arc(0.0, yard.cell)
    foot = 0.25 * wb
    inner = INNER_EDGE * wb + 0.5 * yard.cell

    def shape(x: Grid, y: Grid) -> Grid:
        return np.where(y > inner, ramp(x - foot), 0.0)

    hub = foot + reach * math.cos(slope)
    return Piece(
        length=foot + ramp.length + BEYOND * wb,
        shape=shape,
        finish=hub - 0.5 * wb,
        crux=(foot - 0.5 * wb, hub),
        notes=(("ramp_travel_index", 1000.0 * reach / wb),),
    )
