"""Best compromises: set-ups that no other one equals or beats everywhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def front(chance: Array) -> NDArray[np.intp]:
    """Indices of the rows that no other row equals or beats in every column and beats in one; of equals all stay.

    :param chance: (set-ups, aims), the more the better.
    """
    row, other = chance[:, None, :], chance[None, :, :]
    above = (row >= other).all(axis=2) & (row > other).any(axis=2)
    return np.flatnonzero(~above.any(axis=0))


def could_be(chance: Array, doubt: Array) -> NDArray[np.intp]:
    """Indices of the rows that would be on the front if they were better, and the front's worse, by their doubt.

    :param doubt: (set-ups, aims) standard errors.
    """
    best = front(chance)
    hope = chance + doubt
    sure = chance[best] - doubt[best]
    beaten = (sure[:, None, :] >= hope[None, :, :]).all(axis=2) & (sure[:, None, :] > hope[None, :, :]).any(axis=2)
    return np.flatnonzero(~beaten.any(axis=0))


def volume(chance: Array, base: Array) -> float:
    """Share of what could be gained over a base that lies under the front: 1 is sure success everywhere.

    Exact volume by slicing, for one to four aims.
    """
    points = np.clip((chance - base) / np.maximum(1.0 - base, 1e-9), 0.0, 1.0)
    return _under(points[(points > 0.0).all(axis=1)])


def _under(points: Array) -> float:
    if not len(points):
        return 0.0
    if points.shape[1] == 1:
        return float(points.max())
    total, order = 0.0, points[np.argsort(points[:, -1])]
    heights = np.diff(order[:, -1], prepend=0.0)
    for k in np.flatnonzero(heights > 0.0):
        total += float(heights[k]) * _under(order[k:, :-1])
    return total
