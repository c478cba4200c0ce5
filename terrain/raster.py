"""Triangles seen from above: the highest surface over every grid node, and what lies hidden under it."""

from __future__ import annotations

from collections.abc import Callable

import numba
import numpy as np
from numpy.typing import NDArray

Progress = Callable[[float], None]
CHUNK = 100_000
"""Triangles between two progress reports."""


@numba.njit(cache=True)
def _faces(
    p: NDArray[np.float64], faces: NDArray[np.int64], x0: float, y0: float, h: float, top: NDArray[np.float64],
    upward: NDArray[np.bool_], hidden: NDArray[np.float64], facing: int, depth: float,
) -> None:
    """Raise ``top`` to the faces (facing 0), or note in ``hidden`` how far below it faces of one facing lie."""
    nx, ny = top.shape
    for f in range(faces.shape[0]):
        ax, ay, az = p[faces[f, 0], 0], p[faces[f, 0], 1], p[faces[f, 0], 2]
        bx, by, bz = p[faces[f, 1], 0], p[faces[f, 1], 1], p[faces[f, 1], 2]
        cx, cy, cz = p[faces[f, 2], 0], p[faces[f, 2], 1], p[faces[f, 2], 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0 or (facing > 0 and area < 0.0) or (facing < 0 and area > 0.0):
            continue
        i0 = max(0, int(np.ceil((min(ax, bx, cx) - x0) / h - 1e-9)))
        i1 = min(nx - 1, int(np.floor((max(ax, bx, cx) - x0) / h + 1e-9)))
        j0 = max(0, int(np.ceil((min(ay, by, cy) - y0) / h - 1e-9)))
        j1 = min(ny - 1, int(np.floor((max(ay, by, cy) - y0) / h + 1e-9)))
        for i in range(i0, i1 + 1):
            x = x0 + i * h
            for j in range(j0, j1 + 1):
                y = y0 + j * h
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                if u < -1e-9 or v < -1e-9 or w < -1e-9:
                    continue
                z = u * az + v * bz + w * cz
                if facing == 0:
                    if z > top[i, j]:
                        top[i, j] = z
                        upward[i, j] = area > 0.0
                elif z < top[i, j] - depth:
                    hidden[i, j] = max(hidden[i, j], top[i, j] - z)


def rasterise(
    vertices: NDArray[np.float64], faces: NDArray[np.int64], origin: tuple[float, float], spacing: float,
    shape: tuple[int, int], progress: Progress | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Heights of the highest surface over each node and the depth of upward surfaces hidden under it.

    ``vertices`` (n, 3) m, ``faces`` (m, 3) indices; grid as in :class:`terrain.heightfield.Heightfield`. Returns two
    (nx, ny) arrays in m: heights (nan where no triangle lies over the node) and hidden depth (0 where none). A
    surface counts as hidden when it faces the same way as the top and lies more than one cell under it.
    """
    top = np.full(shape, -np.inf)
    upward = np.zeros(shape, dtype=np.bool_)
    hidden = np.zeros(shape)
    count = len(faces)

    def sweep(facing: int, part: float) -> None:
        for start in range(0, count, CHUNK):
            chunk = faces[start : start + CHUNK]
            _faces(vertices, chunk, origin[0], origin[1], spacing, top, upward, hidden, facing, spacing)
            if progress is not None:
                progress(part + 0.5 * min(1.0, (start + CHUNK) / count))

    sweep(0, 0.0)
    covered = np.isfinite(top)
    # A scan wound the other way round has its top faces looking down: then those are the ones to search for.
    sweep(1 if np.count_nonzero(upward) * 2 >= np.count_nonzero(covered) else -1, 0.5)
    top[~covered] = np.nan
    return top, hidden
