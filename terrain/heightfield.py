"""Ground as a regular grid of heights, and the one interpolation that everything samples."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.coarse import coarse_map
from terrain.errors import TerrainError

MAX_NODES = 25_000_000
"""Largest grid accepted: 200 MB of heights, a 10 m x 10 m yard at 2 mm."""


@dataclass(frozen=True)
class Heightfield:
    """Heights on a regular grid, metres, z up.

    ``z[i, j]`` stands at ``x = origin[0] + i * spacing``, ``y = origin[1] + j * spacing`` (rows run along x).
    Between the nodes the surface is bilinear; outside, the edge value continues.
    Raises TerrainError for a grid that is not two-dimensional, too large, not float64, or not finite.
    """

    z: NDArray[np.float64]
    """(nx, ny) float64, C order."""
    origin: tuple[float, float]
    """(x, y) of ``z[0, 0]``, m."""
    spacing: float
    """m."""

    def __post_init__(self) -> None:
        check_size(self.z.shape)
        if self.z.dtype != np.float64 or not self.z.flags.c_contiguous:
            raise TerrainError(
                f"heights are {self.z.dtype}, not C-ordered float64", field="z", remedy="use Heightfield.of(...)"
            )
        bad = int(np.count_nonzero(~np.isfinite(self.z)))
        if bad:
            raise TerrainError(
                f"{bad} of {self.z.size} heights are not numbers", field="z", remedy="fill or crop the holes first"
            )
        if not (np.isfinite(self.spacing) and self.spacing > 0):
            raise TerrainError(
                "the grid spacing must be above zero", field="spacing", value=self.spacing, remedy="give it in metres"
            )
        if not np.all(np.isfinite(self.origin)):
            raise TerrainError("the grid origin is not a number", field="origin", value=self.origin)

    @staticmethod
    def of(z: ArrayLike, origin: tuple[float, float], spacing: float) -> Heightfield:
        """Build a height field from anything array-like, converting to C-ordered float64."""
        heights = np.ascontiguousarray(z, dtype=np.float64)
        return Heightfield(heights, (float(origin[0]), float(origin[1])), float(spacing))

    @staticmethod
    def mapped(
        z: NDArray[np.float64], coarse: NDArray[np.float64], origin: tuple[float, float], spacing: float
    ) -> Heightfield:
        """Build a height field whose coarse map is known already: heights that another process has made."""
        ground = Heightfield(z, origin, spacing)
        ground.__dict__["coarse"] = coarse
        return ground

    @property
    def x(self) -> NDArray[np.float64]:
        """(nx,) x of the rows, m."""
        return self.origin[0] + self.spacing * np.arange(self.z.shape[0], dtype=np.float64)

    @property
    def y(self) -> NDArray[np.float64]:
        """(ny,) y of the columns, m."""
        return self.origin[1] + self.spacing * np.arange(self.z.shape[1], dtype=np.float64)

    @cached_property
    def coarse(self) -> NDArray[np.float64]:
        """(bx, by, 2) highest point, m, and sharpest edge of every block, see :func:`terrain.coarse.coarse_map`."""
        return coarse_map(self.z, self.spacing)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """(x_min, x_max, y_min, y_max) of the nodes, m."""
        nx, ny = self.z.shape
        x0, y0 = self.origin
        return x0, x0 + (nx - 1) * self.spacing, y0, y0 + (ny - 1) * self.spacing


def check_size(shape: tuple[int, ...]) -> None:
    """Raise TerrainError unless a grid of this shape is two-dimensional and within ``MAX_NODES``."""
    if len(shape) != 2 or min(shape) < 2:
        raise TerrainError(f"a height grid needs at least 2 x 2 nodes, this has shape {shape}", field="z")
    if shape[0] * shape[1] > MAX_NODES:
        raise TerrainError(f"a grid of {shape[0]} x {shape[1]} nodes is above the limit of {MAX_NODES / 1e6:g} million",
                           field="z", remedy="crop it or use a coarser spacing")


def _cell(
    ground: Heightfield, x: ArrayLike, y: ArrayLike
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64], NDArray[np.float64]]:
    """Cell indices and the place (0 to 1) within the cell, clamped to the grid."""
    nx, ny = ground.z.shape
    u = np.clip((np.asarray(x, dtype=np.float64) - ground.origin[0]) / ground.spacing, 0.0, nx - 1.0)
    v = np.clip((np.asarray(y, dtype=np.float64) - ground.origin[1]) / ground.spacing, 0.0, ny - 1.0)
    i = np.minimum(u.astype(np.intp), nx - 2)
    j = np.minimum(v.astype(np.intp), ny - 2)
    return i, j, u - i, v - j


def sample(ground: Heightfield, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Height of the ground, m, at points x, y (m, broadcast together); the edge value continues outside."""
    i, j, a, b = _cell(ground, x, y)
    z = ground.z
    low = z[i, j] * (1.0 - b) + z[i, j + 1] * b
    high = z[i + 1, j] * (1.0 - b) + z[i + 1, j + 1] * b
    return np.asarray(low * (1.0 - a) + high * a)


def normal(ground: Heightfield, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Unit upward normal of the bilinear surface at x, y (m, broadcast); shape (..., 3), world frame.

    On a node or a grid line the cell towards +x and +y decides. Outside the grid the ground is taken as level
    across the edge that was left.
    """
    i, j, a, b = _cell(ground, x, y)
    z = ground.z
    x_min, x_max, y_min, y_max = ground.extent
    px, py = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    inside_x = (px >= x_min) & (px <= x_max)
    inside_y = (py >= y_min) & (py <= y_max)
    dzdx = ((z[i + 1, j] - z[i, j]) * (1.0 - b) + (z[i + 1, j + 1] - z[i, j + 1]) * b) / ground.spacing
    dzdy = ((z[i, j + 1] - z[i, j]) * (1.0 - a) + (z[i + 1, j + 1] - z[i + 1, j]) * a) / ground.spacing
    n = np.stack(np.broadcast_arrays(-dzdx * inside_x, -dzdy * inside_y, 1.0), axis=-1)
    return np.asarray(n / np.linalg.norm(n, axis=-1, keepdims=True))
