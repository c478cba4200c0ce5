"""Holes in a height grid: found, told apart from the ground's edge, and filled."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse import linalg

LARGEST_SOLVE = 300_000
"""Hole nodes up to which the membrane equation is solved; larger ones take the nearest height."""


def inner_holes(z: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Nodes without a height (nan) that are enclosed by ground; the rest lies beyond the ground's edge."""
    missing = np.isnan(z)
    label, count = ndimage.label(missing)
    rim = np.unique(np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]]))
    outer = np.zeros(count + 1, dtype=np.bool_)
    outer[rim] = True
    return np.asarray(missing & ~outer[label])


def fill(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the grid with every nan replaced.

    Enclosed holes get a membrane stretched over their rim (Laplace's equation); nodes beyond the edge of the ground
    take the nearest height.
    """
    missing = np.isnan(z)
    if not missing.any():
        return z
    nearest = ndimage.distance_transform_edt(missing, return_distances=False, return_indices=True)
    filled = z[tuple(nearest)]
    holes = inner_holes(z)
    if 0 < np.count_nonzero(holes) <= LARGEST_SOLVE:
        filled[holes] = _membrane(filled, holes)
    return np.asarray(filled, dtype=np.float64)


def _membrane(z: NDArray[np.float64], holes: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Heights in the holes that equal the mean of their four neighbours; enclosed holes never touch the rim."""
    i, j = np.nonzero(holes)
    count = len(i)
    number = np.full(z.shape, -1)
    number[i, j] = np.arange(count)
    right = np.zeros(count)
    rows, columns = [np.arange(count)], [np.arange(count)]
    for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        near = number[i + di, j + dj]
        free = near >= 0
        right += np.where(free, 0.0, z[i + di, j + dj])
        rows.append(np.flatnonzero(free))
        columns.append(near[free])
    values = np.concatenate([np.full(count, 4.0), np.full(sum(map(len, rows[1:])), -1.0)])
    matrix = sparse.csc_matrix((values, (np.concatenate(rows), np.concatenate(columns))), shape=(count, count))
    return np.asarray(linalg.spsolve(matrix, right))
