"""Tip-over margin: how much further the truck may lean before it goes over an edge of its footprint.

Force-angle measure of E. G. Papadopoulos and D. A. Rey (IEEE ICRA 1996; Vehicle System Dynamics 33 (2000) 29-48),
the angle only: it does not scale with weight, and at rest it is the tilt left before tipping.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel
from sim.physics.vector import Vec, at, cross, dot, minus, over, size, times, vec

Array = NDArray[np.float64]
ROUND_TRIP = np.array([0, 1, 3, 2], dtype=np.int64)
"""Front left, front right, rear right, rear left: clockwise seen from above."""
EDGE_NAMES = ("front", "right", "rear", "left")
"""The edge that starts at each corner of the round trip."""


@kernel
def edge_angle(p: Vec, q: Vec, force: Vec) -> float:
    """Signed angle (rad) from the force through the origin to the edge p to q, seen along the edge.

    Points are relative to the centre of gravity. Positive while the force passes inside (to the right of the edge
    walked clockwise seen from above).
    """
    along = minus(q, p)
    length = size(along)
    if length < 1.0e-12:
        return math.pi
    along = over(along, length)
    lever = minus(p, times(dot(along, p), along))
    across = minus(force, times(dot(along, force), along))
    return math.atan2(-dot(cross(lever, across), along), dot(lever, across))


@kernel
def tip_over_margin(contact: Array, cg: Array, force: Array) -> tuple[float, int]:
    """Smallest edge angle (rad) and its edge (index into EDGE_NAMES).

    ``contact`` (4, 3): front left, front right, rear left, rear right, world, m. ``cg`` (3,) m. ``force`` (3,): what
    acts on the centre of gravity besides the ground: weight minus mass times acceleration, N.
    """
    best = math.pi
    edge = 0
    centre = vec(cg, 0)
    push = vec(force, 0)
    for k in range(4):
        p = minus(at(contact, ROUND_TRIP[k]), centre)
        q = minus(at(contact, ROUND_TRIP[(k + 1) % 4]), centre)
        angle = edge_angle(p, q, push)
        if angle < best:
            best = angle
            edge = k
    return best, edge
