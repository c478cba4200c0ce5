"""Edges and faces of rock as a tread meets them: the normals an edge offers, and a face beside the tyre."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel
from sim.physics.ground_sampling import Ground, crossing, height

Array = NDArray[np.float64]
SHARP = 0.5
"""Convex change of slope from cell to cell above which a tyre near it looks for the edge's normals."""
EDGE_TURN = 0.1
"""Difference in lean (sine of the turn, about) below which the ground counts as smooth across a stretch of tread."""


@kernel
def edge_normal(
    ground: Ground,
    qx: float,
    qy: float,
    qz: float,
    reach: float,
    ux: float,
    uy: float,
    uz: float,
    ax: float,
    ay: float,
    az: float,
    nx: float,
    ny: float,
    nz: float,
) -> tuple[float, float, float]:
    """Normal that the ground can offer to a stretch of tread across an edge.

    An edge takes any normal between those of its two faces; the tread, pressed along its spoke ``u``, finds the one
    nearest to the spoke. ``reach`` is the stretch of tread to either side that acts with the spoke at ``q``, ``a`` the
    axle's direction, ``n`` the normal at the tip itself. Where the ground falls away from the tread within reach, the
    chord to it tells the face, so that a face thinner than the reach is not missed; where it does not, ``n`` stays.
    """
    tx = ay * uz - az * uy
    ty = az * ux - ax * uz
    tz = ax * uy - ay * ux
    lean = nx * tx + ny * ty + nz * tz
    ahead = lean
    behind = lean
    # Chord ahead: from q to the ground under the tread there; it falls away if it leads along the spoke.
    cx = reach * tx
    cy = reach * ty
    cz = height(ground, qx + cx, qy + cy) - qz
    along = cx * tx + cy * ty + cz * tz
    fall = cx * ux + cy * uy + cz * uz
    if fall > 0.0:
        ahead = fall / math.sqrt(along * along + fall * fall)
    cz = height(ground, qx - cx, qy - cy) - qz
    along = -cx * tx - cy * ty + cz * tz
    fall = -cx * ux - cy * uy + cz * uz
    if fall > 0.0:
        behind = -fall / math.sqrt(along * along + fall * fall)
    if ahead - behind < EDGE_TURN:
        return nx, ny, nz
    # Between the two faces every lean is to be had, and none is best.
    lean = min(max(0.0, behind), ahead)
    side = nx * ax + ny * ay + nz * az
    flat = math.sqrt(max(1.0 - side * side, 0.0))
    out = -flat * math.sqrt(max(1.0 - lean * lean, 0.0))
    lean *= flat
    return out * ux + lean * tx + side * ax, out * uy + lean * ty + side * ay, out * uz + lean * tz + side * az


@kernel
def face_beside(
    ground: Ground,
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
    if height(ground, ex, ey) >= ez:
        return width, 0.0, 0.0
    out, gx, gy = crossing(ground, (ex, ey, ez), (sx, sy, sz), 0.0, width, gap, 0.0)
    if width - out < short:
        return out, gx, gy
    return width, 0.0, 0.0
