"""An obstacle: ground, where to start, the lane to follow and the line to cross."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.heightfield import Heightfield


@dataclass(frozen=True)
class Pose:
    """Place of the rear axle's ground point and the heading, before settling."""

    x: float
    y: float
    heading: float
    """rad about z, 0 along +x."""


@dataclass(frozen=True)
class Obstacle:
    """One test piece at one difficulty."""

    family: str
    level: float
    """Difficulty in the family's own unit (mm, deg, ...)."""
    unit: str
    ground: Heightfield
    start: Pose
    lane: NDArray[np.float64]
    """(n, 2) x, y of the path to follow, m, in order; its first point is at the start."""
    finish_s: float
    """m along the lane at which the truck's CG has cleared the obstacle."""
    lane_half_width: float
    """m; leaving the lane by more counts as sliding off."""
    crux: tuple[float, float]
    """(from, to) m along the lane where the difficulty lies: for pictures and for telling where a trial ended."""
    descending: bool = False
    """The driver holds on the drag brake."""
    detail: dict[str, Any] = field(default_factory=dict)
    """Parameters that made it (roughness, seed, slope, ...): part of the key."""


def mirrored(obstacle: Obstacle) -> Obstacle:
    """The same obstacle with left and right exchanged: its mirror image in the plane y = 0."""
    ground, start = obstacle.ground, obstacle.start
    far = ground.origin[1] + (ground.z.shape[1] - 1) * ground.spacing
    return replace(obstacle, ground=Heightfield.of(ground.z[:, ::-1], (ground.origin[0], -far), ground.spacing),
                   start=Pose(start.x, -start.y, -start.heading), lane=obstacle.lane * np.array([1.0, -1.0]),
                   detail=obstacle.detail | {"mirrored": True})
