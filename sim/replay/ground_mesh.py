"""Ground for a picture: fewer grid lines than the simulation drives on, but every step kept where it stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.heightfield import Heightfield, sample
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
MOST_LINES = (190, 64)
"""Grid lines along x and y at most."""
STEEP = 0.8
"""Rise over run above which a grid cell is part of a step."""
MOST_STEPS = 0.4
"""Share of the lines that steps may take; a rock garden has more, and is drawn on even lines."""


@dataclass(frozen=True)
class GroundMesh:
    """Heights over a grid whose lines need not be evenly spaced."""

    x: Array
    y: Array
    z: Array
    """(nx, ny) m."""


def ground_mesh(
    obstacle: Obstacle, around: float, went: Array | None = None, most: tuple[int, int] = MOST_LINES,
) -> GroundMesh:
    """Mesh of the ground within ``around`` (m) of the lane, and of where somebody went.

    :param went: Places (n, 2), m. Beyond the ground's end they are on what the simulation has there: its edge's height.
    """
    ground = obstacle.ground
    ends = np.array(ground.extent).reshape(2, 2)
    low = np.maximum(ends[:, 0], obstacle.lane.min(axis=0) - around)
    high = np.minimum(ends[:, 1], obstacle.lane.max(axis=0) + around)
    if went is not None:
        low, high = np.minimum(low, went.min(axis=0) - 0.5 * around), np.maximum(high, went.max(axis=0) + 0.5 * around)
    x, y = (_lines(float(low[k]), float(high[k]), ground, k, most[k]) for k in (0, 1))
    return GroundMesh(x, y, sample(ground, x[:, None], y[None, :]))


def _lines(low: float, high: float, ground: Heightfield, axis: int, most: int) -> Array:
    """Grid lines from low to high: even ones, and both sides of every step that crosses most of the ground."""
    here = ground.x if axis == 0 else ground.y
    rise = np.abs(np.diff(ground.z, axis=axis)) > STEEP * ground.spacing
    steep = np.flatnonzero(rise.mean(axis=1 - axis) > 0.1)
    edges = np.unique(np.concatenate([here[steep], here[steep + 1]])) if len(steep) else np.empty(0)
    edges = edges[(edges > low) & (edges < high)]
    if len(edges) > MOST_STEPS * most:
        edges = np.empty(0)
    even = np.linspace(low, high, most - len(edges))
    if not len(edges):
        return even
    near = np.min(np.abs(even[1:-1, None] - edges[None, :]), axis=1) < 0.35 * (even[1] - even[0])
    return np.unique(np.concatenate([even[:1], even[1:-1][~near], even[-1:], edges]))
