"""Test terrains of the response-robot standards at the truck's scale.

Their level is a size in percent: 100 is the published apparatus divided by the truck's scale, 200 twice that. The
standards themselves let the apparatus grow with the lane. What was read about them and what is from memory stands
beside each constant. *Second hand* was read in public sources that rebuild the apparatus and name it, not in the
standard or paper itself.
"""

from __future__ import annotations

import math

import numpy as np

from terrain.families.ledges import BEYOND, then_level
from terrain.families.slopes import FINISH, SLOPE_LENGTH
from terrain.piece import Grid, Piece, Shape
from terrain.profile import Profile
from terrain.yardstick import Yardstick

RAMP_ANGLE = math.radians(15.0)
"""Pitch/roll ramps of E2827 (second hand) and E2826 (from memory)."""
RAMP_PLAN = 0.6
"""m, plan length of a ramp element in its steep direction (second hand for E2827)."""
RAMP_WIDTH = 1.2
"""m, its other side (from memory)."""
POST = 0.1
"""m, width and height unit of a stepfield post (second hand); that heights are whole post widths was read."""
PALLET_POSTS = 12
"""Posts along a pallet's side: 1.2 m (second hand)."""
MOST_STEP = 2
"""Units by which neighbouring posts differ at most (Jacoff et al. 2008, second hand)."""
HILL_TOP = 5
"""Highest post of a hill in units (from memory)."""
RAIL = 0.1
"""m, width and height of a K-rail (second hand)."""
RAIL_TURN = math.radians(45.0)
"""Of the diagonal rails to the lane (second hand)."""
HURDLE = 0.1
"""m, height step of the hurdles (from memory)."""
ROWS = 4
"""Element rows or pallets' worth along the lane at least; more until the field is three wheelbases long."""
MIN_LENGTH = 3.0


def _fit(element: float, yard: Yardstick, least: int) -> float:
    """Cell that divides an element evenly into at least ``least`` cells and is no coarser than the yardstick's."""
    return element / max(least, math.ceil(element / yard.cell))


def _notes(level: float, yard: Yardstick, **lengths: float) -> tuple[tuple[str, float | str], ...]:
    """Record full-size and built lengths (m in, mm out) so that the scaling shows."""
    pairs: list[tuple[str, float | str]] = [("built_per_full_size", 0.01 * level / yard.scale)]
    for name, full in lengths.items():
        pairs.append((f"{name}_full_size_mm", 1000.0 * full))
        pairs.append((f"{name}_mm", 10.0 * full * level / yard.scale))
    return tuple(pairs)


def _field(
    shape: Shape, length: float, cell: float, yard: Yardstick, notes: tuple[tuple[str, float | str], ...]
) -> Piece:
    """Piece with the field between local x = 0 and ``length`` and level ground on both sides."""

    def bounded(x: Grid, y: Grid) -> Grid:
        return np.where((x > 1e-9) & (x < length - 1e-9), shape(x, y), 0.0)

    return then_level(length, yard, bounded, (0.0, length), cell=cell, notes=notes)


def _rows(element: float, yard: Yardstick) -> int:
    return 2 * math.ceil(max(ROWS, MIN_LENGTH * yard.wheelbase / element) / 2)


def continuous_ramps(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Continuous pitch/roll ramps: ridges and valleys of 15 degrees running diagonally, with no step anywhere.

    A truck on them pitches and rolls at once. Half a ridge is one ramp element long measured square to it; where the
    field meets level ground its edge is cut plumb.
    """
    size = 0.01 * level / yard.scale
    half = RAMP_PLAN * size
    along = half * math.sqrt(2.0)
    count = _rows(along, yard)

    def shape(x: Grid, y: Grid) -> Grid:
        phase = np.mod((x + y) / along, 2.0)
        return np.asarray(half * math.tan(RAMP_ANGLE) * (1.0 - np.abs(phase - 1.0)))

    notes = _notes(level, yard, element=RAMP_PLAN, rise=RAMP_PLAN * math.tan(RAMP_ANGLE))
    return _field(shape, count * along, _fit(along, yard, 6), yard, notes)


def crossing_ramps(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Crossing pitch/roll ramps: 15 degree elements that face four ways by turns, with plumb steps between them."""
    size = 0.01 * level / yard.scale
    plan, width = RAMP_PLAN * size, RAMP_WIDTH * size
    count = _rows(plan, yard)
    cell = _fit(plan, yard, 6)

    def shape(x: Grid, y: Grid) -> Grid:
        # Half a cell of shift puts each plumb face into the one cell behind the element's edge node.
        row, along = np.divmod(x - 0.5 * cell, plan)
        column, across = np.divmod(y - 0.5 * cell + 0.5 * width, width)
        facing = np.mod(row + 2.0 * np.mod(column, 2.0), 4.0)
        half, second = np.divmod(across, plan)
        up_across = np.where(half < 1.0, second, plan - second) / plan
        share = np.choose(np.broadcast_to(facing, np.broadcast_shapes(x.shape, y.shape)).astype(int),
                          np.broadcast_arrays(along / plan, up_across, 1.0 - along / plan, 1.0 - up_across))
        return np.asarray(plan * math.tan(RAMP_ANGLE) * share)

    notes = _notes(level, yard, element=RAMP_PLAN, width=RAMP_WIDTH, rise=RAMP_PLAN * math.tan(RAMP_ANGLE))
    return _field(shape, count * plan, cell, yard, notes)


TOPOGRAPHIES = ("flat", "hill", "diagonal hill")


def post_units(rng: np.random.Generator, topography: int) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    """Post heights of one pallet in whole units, (12, 12), symmetric under half a turn.

    Topography 0 is flat (1 to 3 units by lot), 1 a hill across the lane, 2 a diagonal hill (1 to 5 units, each post
    up to one unit off the even slope by lot). No post stands more than two units above a neighbour. The topographies
    and the whole units were read; the lot is our own, since the standard's pattern was not.
    """
    side = np.arange(PALLET_POSTS) - 0.5 * (PALLET_POSTS - 1)
    off = np.abs(side[:, None] + 0.0 * side[None, :])
    if topography == 2:
        off = 0.5 * np.abs(side[:, None] + side[None, :])
    even = 1.0 + (HILL_TOP - 1.0) * (1.0 - off / off.max())
    lot = rng.integers(-1, 2, size=even.shape)
    units = 2 + lot if topography == 0 else np.clip(np.rint(even).astype(np.int64) + lot, 1, HILL_TOP)
    half = PALLET_POSTS // 2
    units[half:] = units[:half][::-1, ::-1]
    while True:
        # Pallets lie next to each other, so the last post's neighbour is the first.
        around = np.min([np.roll(units, step, axis) for axis in (0, 1) for step in (1, -1)], axis=0)
        if (units <= around + MOST_STEP).all():
            return np.asarray(units, dtype=np.int64)
        units = np.minimum(units, around + MOST_STEP)


def stepfield(level: float, yard: Yardstick, rng: np.random.Generator, topography: float) -> Piece:
    """Symmetric stepfield: pallets of square posts, one after another along the lane and side by side."""
    size = 0.01 * level / yard.scale
    post = POST * size
    units = post_units(rng, int(topography))
    pallet = PALLET_POSTS * post
    pallets = max(1, math.ceil(MIN_LENGTH * yard.wheelbase / pallet))
    cell = _fit(post, yard, 4)

    def shape(x: Grid, y: Grid) -> Grid:
        i = np.floor((x - 0.5 * cell) / post).astype(np.int64) % PALLET_POSTS
        j = np.floor((y - 0.5 * cell + 0.5 * pallet) / post).astype(np.int64) % PALLET_POSTS
        return np.asarray(post * units[i, j])

    notes = _notes(level, yard, post=POST, pallet=PALLET_POSTS * POST)
    return _field(shape, pallets * pallet, cell, yard, (*notes, ("topography_name", TOPOGRAPHIES[int(topography)])))


def k_rails(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """K-rails: square rails, one straight across and two diagonal ones from its middle to the far corners.

    Seen from above they are the strokes of a K as wide as a pallet; every second K lies turned round, so that the
    straight rails come in pairs. The standard's title and scope were read; how the rails follow each other is ours.
    """
    size = 0.01 * level / yard.scale
    rail, width = RAIL * size, PALLET_POSTS * POST * size
    length = rail + 0.5 * width / math.tan(RAIL_TURN)
    count = 2 * max(1, math.ceil(0.5 * MIN_LENGTH * yard.wheelbase / length))
    cell = _fit(rail, yard, 4)

    def shape(x: Grid, y: Grid) -> Grid:
        row, along = np.divmod(x - 0.5 * cell, length)
        along = np.where(np.mod(row, 2.0) < 1.0, along, length - along)
        across = np.abs(np.mod(y - 0.5 * cell + 0.5 * width, width) - 0.5 * width)
        diagonal = np.abs(across * math.cos(RAIL_TURN) - (along - rail) * math.sin(RAIL_TURN))
        return np.where((along < rail) | (diagonal < 0.5 * rail), rail, 0.0) + 0.0 * y

    notes = _notes(level, yard, rail=RAIL, width=PALLET_POSTS * POST)
    return _field(shape, count * length, cell, yard, notes)


def inclined_plane(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Flat board up at ``level`` degrees with a sharp foot and a sharp top edge onto a level deck."""
    wb, slope = yard.wheelbase, math.radians(level)
    plan = math.cos(slope)
    whole = Profile().arc(slope, 1e-6).straight(SLOPE_LENGTH * wb * plan).arc(0.0, 1e-6)

    return Piece(
        length=whole.length + BEYOND * wb,
        shape=whole.across,
        finish=FINISH * wb * plan,
        crux=(0.0, SLOPE_LENGTH * wb * plan),
        rise=whole.rise,
    )


def hurdle(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Beam across the lane, as thick as it is high, with a rounded top (a pipe along it)."""
    height = 0.01 * level * HURDLE / yard.scale
    radius = 0.5 * height
    # Half the beam is a whole number of cells and it begins on a node, so its top is a node too.
    cell = _fit(radius, yard, 2)
    near = cell * round(0.5 * yard.wheelbase / cell)
    middle = near + radius

    def shape(x: Grid, y: Grid) -> Grid:
        off = x - middle
        top = height - radius + np.sqrt(np.maximum(radius**2 - off**2, 0.0))
        return np.where(np.abs(off) < radius, top, 0.0) + 0.0 * y

    crux = (near - 0.25 * yard.wheelbase, near + height + 0.75 * yard.wheelbase)
    return then_level(near + height, yard, shape, crux, cell=cell, notes=_notes(level, yard, height=HURDLE))
