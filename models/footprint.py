"""Two more measures of how far a truck at rest is from tipping, beside the angle: a distance and a height.

The footprint is the convex hull of what carries, seen along gravity. Both measures are positive while the weight's line
passes inside it, zero on its edge at the same tilt as the force-angle margin, and negative beyond. The angle tells what
tilt is left, the distance how far the weight may be moved, the rise how hard a knock it bears.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from models.vector import Vector


@dataclass(frozen=True)
class Footing:
    """Smallest of each measure over the footprint's edges."""

    distance: float
    """m, square to gravity, from the weight's line to the edge: static stability margin (R. B. McGhee, A. A. Frank, "On
    the stability properties of quadruped creeping gaits", Mathematical Biosciences 3 (1968) 331-351; from memory)."""
    rise: float
    """m by which the centre of gravity rises before it goes over the edge, ``r (1 - cos t) cos s`` with its arm r, the
    turn t into the vertical plane through the edge, and the edge's slope s: energy stability margin (D. A. Messuri,
    C. A. Klein, IEEE J. Robotics and Automation RA-1 (1985) 132-141) over the weight (S. Hirose, H. Tsukagoshi,
    K. Yoneda, "Normalized energy stability margin", CLAWAR 1998; both from memory)."""


def footing(contacts: Vector, cg: Vector, up: Vector | None = None) -> Footing:
    """Distance and rise of a truck at rest.

    :param contacts: (n, 3) places that carry, at least three and not in one line, m.
    :param cg: (3,) centre of gravity, same frame, m.
    :param up: (3,) against gravity, any length; z where left out.
    """
    up = np.array([0.0, 0.0, 1.0]) if up is None else up / np.linalg.norm(up)
    # Two axes square to gravity, right-handed with it: hull corners then run round to the left.
    first = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
    first /= np.linalg.norm(first)
    flat = np.stack([first, np.cross(up, first)])
    corners = contacts[ConvexHull(contacts @ flat.T).vertices]
    edges = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    found = [_over(p - cg, q - cg, up) for p, q in edges]
    return Footing(min(d for d, _ in found), min(r for _, r in found))


def level_footing(places: Vector, cg: Vector) -> Footing:
    """:func:`footing` on level ground, of wheels at (n, 2) m with the centre of gravity (3,) m over the ground."""
    return footing(np.column_stack([places, np.zeros(len(places))]), cg)


def _over(p: Vector, q: Vector, up: Vector) -> tuple[float, float]:
    """Distance and rise (m) over one edge from p to q, from the centre of gravity; inside is left of it."""
    along = (q - p) / np.linalg.norm(q - p)
    outward = np.cross(along, up)
    distance = float(p @ outward / np.linalg.norm(outward))
    arm = (p @ along) * along - p  # from the edge to the centre of gravity, square to the edge
    rise = float(np.linalg.norm(arm) * np.linalg.norm(outward) - arm @ up)
    return distance, float(np.copysign(rise, distance))
