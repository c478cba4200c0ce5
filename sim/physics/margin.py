"""Tip-over margin: how much further the truck may lean before it goes over an edge of its footprint.

Force-angle measure of E. G. Papadopoulos and D. A. Rey (IEEE ICRA 1996; Vehicle System Dynamics 33 (2000) 29-48),
the angle only: it does not scale with weight, and at rest it is the tilt left before tipping.

The footprint is the convex hull, seen from above, of whatever carries: tyres and hard parts on rock. A lifted wheel is
no corner. A truck on fewer than three points has no footprint; then the corners are its four wheels, lifted or not,
because the edge it would go over is still one of theirs.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel
from sim.physics.vector import Vec, at, cross, dot, minus, over, size, times

Array = NDArray[np.float64]
ROUND_TRIP = np.array([0, 1, 3, 2], dtype=np.int64)
"""Front left, front right, rear right, rear left: clockwise seen from above."""
STEEP = 0.25
"""Sine between an edge and the force under which it is none to tip over: ground of 75 degrees."""
NARROW = 0.02
"""Area of a footprint over the square of its length under which it is a line, as a belly's feelers on a ledge are."""
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
def tip_over_margin(contact: Array, cg: Vec, force: Vec) -> tuple[float, int]:
    """Smallest edge angle (rad) and its edge (index into EDGE_NAMES).

    ``contact`` (4, 3): front left, front right, rear left, rear right, world, m. ``cg`` (3,) m. ``force`` (3,): what
    acts on the centre of gravity besides the ground: weight minus mass times acceleration, N.
    """
    best = math.pi
    edge = 0
    for k in range(4):
        p = minus(at(contact, ROUND_TRIP[k]), cg)
        q = minus(at(contact, ROUND_TRIP[(k + 1) % 4]), cg)
        angle = edge_angle(p, q, force)
        if angle < best:
            best = angle
            edge = k
    return best, edge


@kernel
def is_steep(along: Vec, force: Vec) -> bool:
    """Whether an edge runs nearly along the force. No truck tips over it: its weight has no lever to turn it so.

    Such edges lie between contacts one above the other on the face of a ledge. The angle about them is rounding.
    """
    straight = dot(along, force)
    return straight * straight > (1.0 - STEEP * STEEP) * dot(along, along) * dot(force, force)


@kernel
def next_corner(points: Array, count: int, here: int) -> int:
    """Corner of the convex hull (seen from above, walked clockwise) after the corner ``here``."""
    best = 0 if here != 0 else 1
    for k in range(count):
        if k in (here, best):
            continue
        ax = points[best, 0] - points[here, 0]
        ay = points[best, 1] - points[here, 1]
        bx = points[k, 0] - points[here, 0]
        by = points[k, 1] - points[here, 1]
        turn = ax * by - ay * bx
        # To the left of the best so far, or further on in the same direction.
        if turn > 0.0 or (turn == 0.0 and bx * bx + by * by > ax * ax + ay * ay):
            best = k
    return best


@kernel
def footprint_margin(points: Array, count: int, cg: Vec, force: Vec) -> float:
    """Smallest edge angle (rad) over the hull of the first ``count`` rows of ``points`` (n, 3), world, m.

    ``cg`` and ``force`` as for :func:`tip_over_margin`. Points in a line, or fewer than three, give pi: ask the four
    wheels instead.
    """
    if count < 3:
        return math.pi
    first = 0
    for k in range(1, count):
        if points[k, 0] < points[first, 0] or (points[k, 0] == points[first, 0] and points[k, 1] < points[first, 1]):
            first = k
    best = math.pi
    corners = 0
    area = longest = 0.0
    here = first
    for _ in range(count):
        there = next_corner(points, count, here)
        corners += 1
        ax, ay = points[here, 0] - points[first, 0], points[here, 1] - points[first, 1]
        bx, by = points[there, 0] - points[first, 0], points[there, 1] - points[first, 1]
        area += 0.5 * abs(ax * by - ay * bx)
        longest = max(longest, bx * bx + by * by)
        p, q = minus(at(points, here), cg), minus(at(points, there), cg)
        if not is_steep(minus(q, p), force):
            best = min(best, edge_angle(p, q, force))
        here = there
        if here == first:
            break
    return best if corners > 2 and area > NARROW * longest else math.pi
