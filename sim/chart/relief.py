"""Ground drawn as an oblique relief: quads painted from back to front, lit from the upper left."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import LinearSegmentedColormap
from numpy.typing import NDArray

from terrain.heightfield import sample
from terrain.obstacle import Obstacle

ROCK = LinearSegmentedColormap.from_list("rock", ["#7d6b5a", "#a39078", "#c4b193", "#ddd0b8"])
"""Low ground dark, high ground pale."""
LIGHT = np.array([-0.55, 0.45, 0.75])
"""Towards the light: behind, left, above."""
AZIMUTH = math.radians(-62.0)
ELEVATION = math.radians(32.0)


def shade(z: NDArray[np.float64], spacing: tuple[float, float]) -> NDArray[np.float64]:
    """Brightness 0 to 1 of each node, (nx, ny): cosine between the surface normal and the light."""
    dzdx, dzdy = np.gradient(z, *spacing)
    light = LIGHT / np.linalg.norm(LIGHT)
    return np.asarray(np.clip((light[2] - light[0] * dzdx - light[1] * dzdy) / np.sqrt(1 + dzdx**2 + dzdy**2), 0, 1))


def lit(z: NDArray[np.float64], spacing: tuple[float, float]) -> NDArray[np.float64]:
    """Rock colours under the light, (nx, ny, 3)."""
    span = float(np.ptp(z))
    tint = ROCK((z - z.min()) / span if span > 0.0 else np.full(z.shape, 0.6))[..., :3]
    return np.asarray(np.clip(tint * (0.25 + 1.05 * shade(z, spacing)[..., None]), 0.0, 1.0))


def project(x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Picture coordinates (right, up) and distance from the eye for world points, m; parallel projection."""
    ca, sa = math.cos(AZIMUTH), math.sin(AZIMUTH)
    right = -x * sa + y * ca
    towards = x * ca + y * sa
    up = z * math.cos(ELEVATION) - towards * math.sin(ELEVATION)
    return right, up, -(towards * math.cos(ELEVATION) + z * math.sin(ELEVATION))


def _cut_faces(axes: Axes, x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]) -> None:
    """Close the two sides that face the eye, as if the ground were cut out of a block."""
    base = float(z.min()) - 0.04 * float(y[-1] - y[0])
    for px, py, pz, colour in (
        (x, np.full_like(x, y[0]), z[:, 0], "#6b5c4d"),
        (np.full_like(y, x[-1]), y, z[-1], "#55493d"),
    ):
        right, up, _ = project(np.r_[px, px[::-1]], np.r_[py, py[::-1]], np.r_[pz, np.full_like(pz, base)])
        axes.fill(right, up, facecolor=colour, lw=0.0)


def paint_relief(axes: Axes, obstacle: Obstacle, quads: tuple[int, int] = (220, 60)) -> None:
    """Paint an obstacle's ground and the lane on it into axes with equal scales and no frame.

    ``quads`` bounds the number of patches along x and y; finer grids are sampled, and steps keep their height.
    """
    ground, lane = obstacle.ground, obstacle.lane
    x_min, x_max, y_min, y_max = ground.extent
    nx, ny = (min(n, m - 1) for n, m in zip(quads, ground.z.shape, strict=True))
    x, y = np.linspace(x_min, x_max, nx + 1), np.linspace(y_min, y_max, ny + 1)
    z = sample(ground, x[:, None], y[None, :])
    colours = lit(z, ((x_max - x_min) / nx, (y_max - y_min) / ny))
    right, up, depth = project(x[:, None] + 0.0 * z, y[None, :] + 0.0 * z, z)
    points = np.stack([right, up], axis=-1)
    corners = np.stack([points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]], axis=2)
    far = (depth[:-1, :-1] + depth[1:, 1:]).ravel()
    face = (0.25 * (colours[:-1, :-1] + colours[1:, :-1] + colours[1:, 1:] + colours[:-1, 1:])).reshape(-1, 3)
    order = np.argsort(-far)
    axes.add_collection(PolyCollection(
        list(corners.reshape(-1, 4, 2)[order]),
        facecolors=face[order],
        edgecolors=face[order],
        lw=0.2,
        # Thirteen thousand patches would make a vector file of megabytes.
        rasterized=True,
    ))
    _cut_faces(axes, x, y, z)
    along = np.linspace(0.0, 1.0, 400)
    px, py = (np.interp(along, np.linspace(0, 1, len(lane)), lane[:, k]) for k in (0, 1))
    lane_right, lane_up, _ = project(px, py, sample(ground, px, py) + 0.002 * (y_max - y_min))
    axes.plot(lane_right, lane_up, color="#b3261e", lw=0.8, alpha=0.8)
    axes.set_aspect("equal")
    axes.autoscale_view()
    axes.set_axis_off()
