"""Coarse map of a height grid: what a square block of cells holds at most, so that most questions end there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLOCK = 8
"""Cells per side of a block."""
BAND = 16
"""Blocks worked on at a time: what is needed beside the grid stays small however long the ground is."""


def coarse_map(z: Array, spacing: float) -> Array:
    """Highest point, m, and sharpest edge, change of slope, of every block: (bx, by, 2).

    Each block sees its right and upper border too. An edge is a change of slope from one cell to the next along x or
    y, at a crest or in a crease, taken at inner nodes.
    """
    nx, ny = z.shape
    bx, by = -(-(nx - 1) // BLOCK), -(-(ny - 1) // BLOCK)
    coarse = np.empty((bx, by, 2))
    for begin in range(0, bx, BAND):
        blocks = min(BAND, bx - begin)
        first, last = begin * BLOCK, (begin + blocks) * BLOCK
        # One row more to either side for the slopes; beyond the grid the last row goes on.
        rows = np.clip(np.arange(first - 1, last + 2), 0, nx - 1)
        band = np.pad(z[rows], ((0, 0), (0, by * BLOCK + 1 - ny)), mode="edge")
        here = band[1:-1]
        edges = np.zeros_like(here)
        np.abs(2.0 * here - band[2:] - band[:-2], out=edges)
        if first == 0:
            edges[0] = 0.0
        if begin + blocks == bx:
            edges[-1] = 0.0
        along_y = np.abs(2.0 * here[:, 1:-1] - here[:, 2:] - here[:, :-2])
        np.maximum(edges[:, 1:-1], along_y, out=edges[:, 1:-1])
        coarse[begin : begin + blocks, :, 0] = _highest(here, blocks, by)
        coarse[begin : begin + blocks, :, 1] = _highest(edges, blocks, by)
    coarse[..., 1] /= spacing
    return coarse


def _highest(values: Array, bx: int, by: int) -> Array:
    """Largest value of every block with its borders: (bx * BLOCK + 1, by * BLOCK + 1) to (bx, by)."""
    rows = values[: bx * BLOCK].reshape(bx, BLOCK, -1).max(axis=1)
    np.maximum(rows, values[BLOCK::BLOCK], out=rows)
    found = rows[:, : by * BLOCK].reshape(bx, by, BLOCK).max(axis=2)
    return np.asarray(np.maximum(found, rows[:, BLOCK::BLOCK]))
