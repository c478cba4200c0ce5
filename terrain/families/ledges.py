"""Ledges: rock faces as plumb as the usual grid holds them, as wide as one cell of it."""

from __future__ import annotations

import math

import numpy as np

from terrain.families.slopes import TURN_RADIUS, roll_length, there_and_back
from terrain.piece import Grid, Piece, Shape
from terrain.profile import Profile
from terrain.yardstick import Yardstick

BEYOND = 1.0
"""CG this many wheelbases past the face: the rear tyres are up (or down) whatever the weight bias."""
APPROACH = 1.6
"""Even slope below a ledge in wheelbases, so that both axles stand on it when the front tyres meet the face."""


def step(x: Grid, at: float, height: float, width: float) -> Grid:
    """Step of ``height`` m whose face rises evenly over ``width`` m from ``at`` on.

    The width is a length of the piece, not of a grid: a finer grid has the same face, and so has one that lies askew.
    ``x`` may be any measure of the way along, so that a face can stand askew too.
    """
    # Rounded to a billionth of the face, so that a node meant to lie at its foot or top does.
    return height * np.clip(np.round((x - at) / width, 9), 0.0, 1.0)


def askew(x: Grid, y: Grid, about: float, skew_deg: float) -> Grid:
    """Way along a line turned by ``skew_deg`` about (``about``, 0): positive meets the right tyre first."""
    turn = math.radians(skew_deg)
    return np.asarray(about + (x - about) * math.cos(turn) - y * math.sin(turn))


def fine(skew_deg: float, yard: Yardstick) -> float | None:
    """Cell for a face that lies askew, m: cells round its edge, which is then climbed higher (docs/tyre_law.md)."""
    return 0.125 * yard.cell if skew_deg else None


def then_level(
    far: float, yard: Yardstick, shape: Shape, crux: tuple[float, float], *, cell: float | None = None,
    notes: tuple[tuple[str, float | str], ...] = (),
) -> Piece:
    """Piece whose last rock stands at local x = ``far`` (m) and that goes on level until a truck has cleared it."""
    length, finish = far + (BEYOND + 0.5) * yard.wheelbase, far + BEYOND * yard.wheelbase
    return Piece(length, shape, finish, crux, cell=cell, notes=notes)


def ledge(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Level ground, a plumb face of ``level`` mm, level ground on top."""
    return _level_ledge(level / 1000.0, yard)


def ledge_down(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Drop of ``level`` mm to drive down."""
    return _level_ledge(-level / 1000.0, yard)


def _level_ledge(height: float, yard: Yardstick) -> Piece:
    wb = yard.wheelbase
    face = yard.snap(0.5 * wb)

    def shape(x: Grid, y: Grid) -> Grid:
        return step(x, face, height, yard.face) + 0.0 * y

    return Piece(
        length=face + (BEYOND + 1.0) * wb,
        shape=shape,
        finish=face + BEYOND * wb,
        crux=(face - 0.5 * wb, face + BEYOND * wb),
        rise=height,
        descending=height < 0.0,
    )


def ledge_on_slope(level: float, yard: Yardstick, rng: np.random.Generator, slope_deg: float) -> Piece:
    """Plumb face of ``level`` mm across an even climb of ``slope_deg``.

    The height is the plumb rise of the face over the slope's own line, not measured square to the slope.
    """
    wb, height, angle = yard.wheelbase, level / 1000.0, math.radians(slope_deg)
    plan = math.cos(angle)
    entry = Profile().arc(angle, TURN_RADIUS * wb)
    face = yard.snap(entry.length + APPROACH * wb * plan)
    even = entry.straight(face - entry.length + 2.5 * wb * plan)
    whole = even.arc(0.0, TURN_RADIUS * wb)

    def shape(x: Grid, y: Grid) -> Grid:
        return whole(x) + step(x, face, height, yard.face) + 0.0 * y

    return Piece(
        length=whole.length,
        shape=shape,
        finish=face + BEYOND * wb * plan,
        crux=(face - 0.5 * wb * plan, face + BEYOND * wb * plan),
        rise=whole.rise + height,
    )


def off_camber_ledge(
    level: float, yard: Yardstick, rng: np.random.Generator, camber_deg: float, skew_deg: float
) -> Piece:
    """Plumb face of ``level`` mm on ground that falls to the right by ``camber_deg``; ``skew_deg`` turns the face.

    A positive skew lets the downhill (right) tyre meet the face first.
    """
    wb, height, camber = yard.wheelbase, level / 1000.0, math.radians(camber_deg)
    roll = roll_length(camber, yard)
    face = yard.snap(roll + APPROACH * wb)
    crux = (face - 0.5 * wb, face + BEYOND * wb)
    end = face + (BEYOND + 1.0) * wb

    def shape(x: Grid, y: Grid) -> Grid:
        side = np.tan(camber * there_and_back(x, (roll, end), roll)) * y
        return np.asarray(side + step(askew(x, y, face, skew_deg), face, height, yard.face))

    finish = face + BEYOND * wb
    return Piece(length=end + roll, shape=shape, finish=finish, crux=crux, rise=height, cell=fine(skew_deg, yard))
