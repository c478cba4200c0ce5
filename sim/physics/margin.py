"""Tip-over margin: how much further the truck may lean before it goes over an edge of its footprint.

Force-angle measure of E. G. Papadopoulos and D. A. Rey (IEEE ICRA 1996; Vehicle System Dynamics 33 (2000) 29-48),
the angle only: it does not scale with weight, and at rest it is the tilt left before tipping.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel

Array = NDArray[np.float64]
ROUND_TRIP = np.array([0, 1, 3, 2], dtype=np.int64)
"""Front left, front right, rear right, rear left: clockwise seen from above."""
EDGE_NAMES = ("front", "right", "rear", "left")
"""The edge that starts at each corner of the round trip."""


@kernel
def edge_angle(
    px: float, py: float, pz: float, qx: float, qy: float, qz: float, fx: float, fy: float, fz: float
) -> float:
    """Signed angle (rad) from the force through the origin to the edge p to q, seen along the edge.

    Points are relative to the centre of gravity. Positive while the force passes inside (to the right of the edge
    walked clockwise seen from above).
    """
    ax = qx - px
    ay = qy - py
    az = qz - pz
    size = math.sqrt(ax * ax + ay * ay + az * az)
    if size < 1.0e-12:
        return math.pi
    ax /= size
    ay /= size
    az /= size
    d = ax * px + ay * py + az * pz
    lx = px - d * ax
    ly = py - d * ay
    lz = pz - d * az
    d = ax * fx + ay * fy + az * fz
    gx = fx - d * ax
    gy = fy - d * ay
    gz = fz - d * az
    cross = (ly * gz - lz * gy) * ax + (lz * gx - lx * gz) * ay + (lx * gy - ly * gx) * az
    return math.atan2(-cross, lx * gx + ly * gy + lz * gz)


@kernel
def tip_over_margin(contact: Array, cg: Array, force: Array) -> tuple[float, int]:
    """Smallest edge angle (rad) and its edge (index into EDGE_NAMES).

    ``contact`` (4, 3): front left, front right, rear left, rear right, world, m. ``cg`` (3,) m. ``force`` (3,): what
    acts on the centre of gravity besides the ground: weight minus mass times acceleration, N.
    """
    best = math.pi
    edge = 0
    for k in range(4):
        i = ROUND_TRIP[k]
        j = ROUND_TRIP[(k + 1) % 4]
        angle = edge_angle(
            contact[i, 0] - cg[0],
            contact[i, 1] - cg[1],
            contact[i, 2] - cg[2],
            contact[j, 0] - cg[0],
            contact[j, 1] - cg[1],
            contact[j, 2] - cg[2],
            force[0],
            force[1],
            force[2],
        )
        if angle < best:
            best = angle
            edge = k
    return best, edge
