"""Edges and faces of rock as a tread meets them: the normals an edge offers, and a face beside the tyre."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.compiled import kernel
from sim.ground import crossing, height, probe

Array = NDArray[np.float64]
SHARP = 0.5
"""Convex change of slope from cell to cell above which a tyre near it looks for the edge's normals."""
EDGE_TURN = 0.1
"""Difference in lean (sine of the turn, about) below which the ground counts as smooth across a stretch of tread."""


@kernel
def edge_normal(
    z: Array,
    header: Array,
    qx: float,
    qy: float,
    reach: float,
    tx: float,
    ty: float,
    tz: float,
    nx: float,
    ny: float,
    nz: float,
) -> tuple[float, float, float]:
    """Normal that the ground can offer to a stretch of tread across an edge.

    An edge takes any normal between those of its two faces; the tread, pressed along its spoke, finds the one nearest
    to the spoke. ``t`` is the tread's direction there (unit, across the spoke, in the wheel's plane), ``reach`` the
    stretch of tread to either side that acts with it, ``n`` the normal at the tip itself, which stays where there is no
    edge.
    """
    _, ax, ay = probe(z, header, qx + reach * tx, qy + reach * ty)
    _, bx, by = probe(z, header, qx - reach * tx, qy - reach * ty)
    a = 1.0 / math.sqrt(1.0 + ax * ax + ay * ay)
    b = 1.0 / math.sqrt(1.0 + bx * bx + by * by)
    lean_a = (tz - ax * tx - ay * ty) * a
    lean_b = (tz - bx * tx - by * ty) * b
    if lean_a - lean_b < EDGE_TURN:
        return nx, ny, nz
    # Lean of a normal: its part along the tread. Between the two faces every lean is to be had, and none is best.
    share = min(max(-lean_b / (lean_a - lean_b), 0.0), 1.0)
    wa = share * a
    wb = (1.0 - share) * b
    nx = -ax * wa - bx * wb
    ny = -ay * wa - by * wb
    nz = wa + wb
    inv = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz)
    return nx * inv, ny * inv, nz * inv


@kernel
def face_beside(
    z: Array,
    header: Array,
    ex: float,
    ey: float,
    ez: float,
    sx: float,
    sy: float,
    sz: float,
    width: float,
    gap: float,
    short: float,
) -> tuple[float, float, float]:
    """How far (m) from the tread's middle ``e`` along ``s`` (unit, to the side) a rock face stands, and its gradient.

    ``width`` is the way to the row of spokes that is under ground by ``gap``, ``short`` how far its spoke would have
    to be shortened. Returns ``width`` where there is no face, or where the way back along the spoke is the shorter.
    """
    if height(z, header, ex, ey) >= ez:
        return width, 0.0, 0.0
    out, gx, gy = crossing(z, header, ex, ey, ez, sx, sy, sz, 0.0, width, gap, 0.0)
    if width - out < short:
        return out, gx, gy
    return width, 0.0, 0.0
