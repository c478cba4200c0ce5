"""Things that lie across the lane: hump, gully, log, gap."""

from __future__ import annotations

import math

import numpy as np

from terrain.families.ledges import BEYOND, askew, fine, step, then_level
from terrain.piece import Grid, Piece
from terrain.profile import Profile
from terrain.yardstick import Yardstick

FOOT_RADIUS = 1.0
"""Curve at the foot of a hump in wheelbases: the bumpers clear it, so the ridge decides."""
RAMP = 1.25
"""Face of a hump in wheelbases: both axles stand on the faces when the belly is over the ridge."""


def hump(level: float, yard: Yardstick, rng: np.random.Generator) -> Piece:
    """Ridge whose two faces meet at a breakover angle of ``level`` degrees (each face slopes by half of it)."""
    wb, slope = yard.wheelbase, math.radians(0.5 * level)
    ridge_radius = 2.0 * yard.cell
    up = Profile().arc(slope, FOOT_RADIUS * wb).straight(RAMP * wb * math.cos(slope))
    over = up.arc(-slope, ridge_radius)
    whole = over.straight(RAMP * wb * math.cos(slope)).arc(0.0, FOOT_RADIUS * wb)

    ridge = 0.5 * whole.length
    return Piece(
        length=whole.length,
        shape=whole.across,
        finish=ridge + BEYOND * wb * math.cos(slope),
        crux=(ridge - 0.5 * wb, ridge + 0.5 * wb),
        rise=whole.rise,
    )


def gully(level: float, yard: Yardstick, rng: np.random.Generator, bank_deg: float) -> Piece:
    """Trench ``level`` mm deep across the lane with banks of ``bank_deg``; lips and bottom rounded to half a tyre."""
    wb, depth, bank = yard.wheelbase, level / 1000.0, math.radians(bank_deg)
    radius = 0.5 * yard.tyre_radius
    # Lip and bottom arcs take up 2 R (1 - cos) of the depth; a shallow gully has gentler banks instead.
    if 2.0 * radius * (1.0 - math.cos(bank)) > depth:
        bank = math.acos(1.0 - depth / (2.0 * radius))
    fall = (depth - 2.0 * radius * (1.0 - math.cos(bank))) / math.tan(bank) if bank > 0.0 else 0.0
    lead = Profile().straight(0.25 * wb)
    down = lead.arc(-bank, radius).straight(fall)
    whole = down.arc(bank, radius).straight(fall).arc(0.0, radius)
    near, far = lead.length, whole.length

    return then_level(far, yard, whole.across, (near, far + 0.5 * wb), notes=(("bank_built_deg", math.degrees(bank)),))


def log(level: float, yard: Yardstick, rng: np.random.Generator, buried_percent: float, skew_deg: float) -> Piece:
    """Round log of ``level`` mm diameter across the lane, sunk by a share of its diameter.

    Under its widest line the flanks go straight down: a height grid holds no undercut.
    """
    wb, radius = yard.wheelbase, 0.5 * level / 1000.0
    axis_height = radius * (1.0 - 0.02 * buried_percent)
    middle = yard.snap(0.5 * wb + radius)

    def shape(x: Grid, y: Grid) -> Grid:
        off = askew(x, y, middle, skew_deg) - middle
        round_top = axis_height + np.sqrt(np.maximum(radius**2 - off**2, 0.0))
        return np.where(np.abs(off) < radius, np.maximum(round_top, 0.0), 0.0)

    far = middle + radius
    crux = (middle - radius - 0.25 * wb, far + 0.75 * wb)
    return then_level(far, yard, shape, crux, notes=(("height_mm", 1000.0 * max(axis_height + radius, 0.0)),))


def gap(level: float, yard: Yardstick, rng: np.random.Generator, depth_percent: float, skew_deg: float) -> Piece:
    """Trench ``level`` mm wide with plumb walls, its depth a share of the tyre diameter."""
    wb, width = yard.wheelbase, yard.snap(level / 1000.0)
    depth = 0.02 * depth_percent * yard.tyre_radius
    near = yard.snap(0.5 * wb)

    def shape(x: Grid, y: Grid) -> Grid:
        along = askew(x, y, near, skew_deg)
        # Walls stand inside each rim, so the rims stay `width` apart.
        return step(along, near, -depth, yard.face) + step(along, near + width - yard.face, depth, yard.face)

    far = near + width
    notes = (("depth_mm", 1000.0 * depth), ("width_built_mm", 1000.0 * width))
    return then_level(far, yard, shape, (near - 0.25 * wb, far + 0.75 * wb), cell=fine(skew_deg, yard), notes=notes)
