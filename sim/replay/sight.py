"""Where each view's camera stands over a clip: above the ground, nothing between it and the truck, not under the belly.

A fixed direction fails on steep ground: behind a truck that goes down a slope the eye would be inside the hill. So the
eye is raised until every line of sight is free, over a second ahead and behind, which keeps it from jumping; where the
other side of the lane needs much less, it stands there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.replay.camera import VIEWS, View
from sim.replay.clip import Clip, camera_path
from terrain.heightfield import sample
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
EVERY = 0.1
"""s between the moments that are looked at."""
REACH = 1.0
"""s ahead and behind for which the eye is high enough already."""
STEP = math.radians(3.0)
HIGHEST = math.radians(86.0)
OVER_GROUND = math.radians(9.0)
"""Least angle between line of sight and the ground under the truck: less shows the belly."""
FROM_AHEAD = math.radians(16.0)
"""The same from in front, as on level ground: up a climb one sees the shell and not its edge alone."""
CLEARANCE = 0.12
"""Wheelbases that the eye stays above the ground."""
ACROSS = math.radians(10.0)
"""Raising the eye that the other side must save before it is taken."""
ALONG_RAY = np.linspace(0.1, 1.0, 14)


@dataclass(frozen=True)
class Sight:
    """A view's directions over a clip."""

    name: str
    azimuth: float
    """rad, as in :class:`sim.replay.camera.View`."""
    elevation: Array
    """(n,) rad, at every sample of the trace."""

    def view(self, at: int) -> View:
        """The view at a sample."""
        return replace(VIEWS[self.name], azimuth=self.azimuth, elevation=float(self.elevation[at]))


def sights(found: Clip) -> dict[str, Sight]:
    """Every view of a clip."""
    stride = max(1, round(EVERY / found.trace.interval))
    at = np.arange(0, len(found.trace.time), stride)
    target = camera_path(found)[at]
    seen = np.concatenate([found.poses.cg[at][:, None], _wheels(found, at)], axis=1)
    return {name: _sight(found, name, view, at, target, seen) for name, view in VIEWS.items()}


def _wheels(found: Clip, at: NDArray[np.intp]) -> Array:
    """(n, 4, 3) wheel centres, m."""
    from models.rigid import WHEEL_BODIES

    return np.asarray(found.poses.origin[at][:, list(WHEEL_BODIES)])


def _sight(found: Clip, name: str, view: View, at: NDArray[np.intp], target: Array, seen: Array) -> Sight:
    best: tuple[float, float, Array] | None = None
    over = FROM_AHEAD if name == "front" else OVER_GROUND
    for azimuth in (view.azimuth, -view.azimuth):
        need = needed(found.obstacle, replace(view, azimuth=azimuth), found.actor.shape.length, target, seen, over)
        worst = float(need.max()) + (0.0 if azimuth == view.azimuth else ACROSS)
        if best is None or worst < best[0]:
            best = worst, azimuth, need
    assert best is not None
    raised = _steadied(best[2], max(1, round(REACH / EVERY)))
    elevation = np.interp(np.arange(len(found.trace.time)), at, raised)
    return Sight(name, best[1], elevation)


def needed(
    obstacle: Obstacle, view: View, length: float, target: Array, seen: Array, over: float = OVER_GROUND
) -> Array:
    """(n,) rad: the lowest elevation, from the view's own upwards, from which ``seen`` (n, k, 3) is seen.

    :param over: Least angle of the line of sight over the ground under the truck, rad.
    """
    turn = obstacle.start.heading + view.azimuth
    normal = _normals(obstacle, target, 0.6 * length)
    out = np.full(len(target), HIGHEST)
    open_ = np.ones(len(target), dtype=bool)
    elevation = view.elevation
    while elevation < HIGHEST and open_.any():
        back = np.array([math.cos(turn) * math.cos(elevation), math.sin(turn) * math.cos(elevation),
                         math.sin(elevation)])
        eye = target[open_] + view.distance * length * back
        ok = free(obstacle, eye, seen[open_], CLEARANCE * length) & (normal[open_] @ back > math.sin(over))
        where = np.flatnonzero(open_)[ok]
        out[where] = elevation
        open_[where] = False
        elevation += STEP
    return out


def free(obstacle: Obstacle, eye: Array, seen: Array, clearance: float) -> NDArray[np.bool_]:
    """(n,) whether the eye (n, 3) stands above the ground and sees all of its points (n, k, 3) over it, m."""
    rays = seen[:, :, None, :] + ALONG_RAY[:, None] * (eye[:, None, None, :] - seen[:, :, None, :])
    over = rays[..., 2] > sample(obstacle.ground, rays[..., 0], rays[..., 1])
    high = eye[:, 2] - sample(obstacle.ground, eye[:, 0], eye[:, 1]) >= clearance
    return np.asarray(over.all(axis=(1, 2)) & high)


def _normals(obstacle: Obstacle, at: Array, reach: float) -> Array:
    """(n, 3) upward unit normals of the ground around places, over ``reach`` m to each side."""
    def height(dx: float, dy: float) -> Array:
        return np.asarray(sample(obstacle.ground, at[:, 0] + dx, at[:, 1] + dy))

    slope = np.stack([height(-reach, 0) - height(reach, 0), height(0, -reach) - height(0, reach),
                      np.full(len(at), 2.0 * reach)], axis=1)
    return np.asarray(slope / np.linalg.norm(slope, axis=1, keepdims=True))


def _steadied(need: Array, reach: int) -> Array:
    """Largest need within reach, averaged over the same reach: nowhere less than the need itself."""
    padded = np.pad(need, 2 * reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    weight = np.hanning(2 * reach + 3)[1:-1]
    return np.convolve(windows, weight / weight.sum(), mode="valid")
