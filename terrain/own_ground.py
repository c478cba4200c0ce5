"""A builder's own ground as an obstacle: where the lane runs, level run-in before it, finish behind it."""

from __future__ import annotations

import hashlib
import math

import numpy as np
from numpy.typing import NDArray

from terrain import noise
from terrain.errors import TerrainError
from terrain.families.ledges import BEYOND
from terrain.families.slopes import ease
from terrain.heightfield import Heightfield, check_size
from terrain.layout import AFTER, BEHIND, LANE_HALF_WIDTH, RUN_IN
from terrain.obstacle import Obstacle, Pose
from terrain.yardstick import Yardstick

BLEND = 1.5
"""Wheelbases over which the level run-in turns into the ground's edge."""
MIN_WIDTH = 1.2
"""Narrowest ground in wheelbases."""


def content_hash(ground: Heightfield) -> str:
    """Short hash of the heights and where they stand: the same ground, the same hash."""
    digest = hashlib.sha256(ground.z.tobytes())
    digest.update(np.array([*ground.origin, ground.spacing]).tobytes())
    return digest.hexdigest()[:16]


def with_aprons(ground: Heightfield, yard: Yardstick) -> tuple[Heightfield, tuple[float, float]]:
    """Put level ground before and behind along x, blended into the ground's two ends.

    Returns the longer ground and the x (m) where the old one begins and ends; the rear axle's start is x = 0.
    """
    wb, h = yard.wheelbase, ground.spacing
    nx, ny = ground.z.shape
    middle = slice(ny // 4, max(ny // 4 + 1, 3 * ny // 4))
    blend = math.ceil(BLEND * wb / h)
    before = math.ceil((BEHIND + RUN_IN) * wb / h) + blend
    after = math.ceil((BEYOND + AFTER) * wb / h) + blend
    check_size((before + nx + after, ny))

    def apron(edge: NDArray[np.float64], count: int) -> NDArray[np.float64]:
        """Rows from the ground's edge outwards: the edge's own shape fades to its middle height."""
        level = float(np.median(edge[middle]))
        share = ease(np.arange(1, count + 1) / blend)[:, None]
        return np.asarray(edge[None, :] * (1.0 - share) + level * share)

    z = np.concatenate([apron(ground.z[0], before)[::-1], ground.z, apron(ground.z[-1], after)])
    begin = (before - math.ceil(BEHIND * wb / h)) * h
    longer = Heightfield.of(z, (begin - before * h, ground.origin[1]), h)
    return longer, (begin, begin + (nx - 1) * h)


def obstacle_on(
    ground: Heightfield, yard: Yardstick, *, name: str, seed: int, level: float = 100.0, unit: str = "percent",
    lane: NDArray[np.float64] | None = None, lane_half_width: float | None = None, rms: float = 0.0,
) -> Obstacle:
    """Make an obstacle of any ground.

    With no lane, the truck starts on level ground put before it and drives straight along x through the middle.
    A lane ((n, 2) x, y, m) starts at the rear axle and must stay on the ground; it ends one wheelbase past the
    finish. ``rms`` adds the seeded texture (m). Raises TerrainError for ground too narrow or a lane off it.
    """
    wb = yard.wheelbase
    fingerprint = content_hash(ground)
    y_min, y_max = ground.extent[2:]
    if y_max - y_min < MIN_WIDTH * wb:
        raise TerrainError(
            f"the ground is {1000 * (y_max - y_min):.0f} mm wide, the truck needs {1000 * MIN_WIDTH * wb:.0f}",
            file=name, remedy="crop less; a mesh can be turned with --turn-deg",
        )
    if lane is None:
        y = 0.5 * (y_min + y_max)
        ground, (begin, end) = with_aprons(ground, yard)
        finish = end + BEYOND * wb
        path = np.array([[0.0, y], [finish + wb, y]])
        start, crux = Pose(0.0, y, 0.0), (begin, end)
    else:
        path = checked_lane(name, ground, lane, wb)
        heading = math.atan2(path[1, 1] - path[0, 1], path[1, 0] - path[0, 0])
        start = Pose(float(path[0, 0]), float(path[0, 1]), heading)
        finish = float(np.hypot(*np.diff(path, axis=0).T).sum()) - wb
        crux = (wb, finish)
    if rms > 0.0:
        texture = noise.roughness(np.random.default_rng(seed), yard.tyre_radius, ground.spacing, rms)
        z = ground.z + texture(ground.x[:, None] - ground.x[0], ground.y[None, :] - ground.y[0])
        ground = Heightfield.of(z, ground.origin, ground.spacing)
    return Obstacle(
        family=name,
        level=level,
        unit=unit,
        ground=ground,
        start=start,
        lane=path,
        finish_s=finish,
        lane_half_width=LANE_HALF_WIDTH * wb if lane_half_width is None else lane_half_width,
        crux=crux,
        detail={
            "ground": fingerprint,
            "seed": seed,
            "roughness_mm": 1000.0 * rms,
            "wheelbase_mm": 1000.0 * wb,
            "tyre_radius_mm": 1000.0 * yard.tyre_radius,
            "cell_mm": 1000.0 * ground.spacing,
        },
    )


def checked_lane(name: str, ground: Heightfield, lane: NDArray[np.float64], wheelbase: float) -> NDArray[np.float64]:
    """Return the lane; raise TerrainError unless it is three wheelbases long, without double points, on the ground."""
    path = np.ascontiguousarray(lane, dtype=np.float64)
    if path.ndim != 2 or path.shape[1] != 2 or len(path) < 2 or not np.isfinite(path).all():
        raise TerrainError("needs two or more points x, y", file=name, field="lane")
    steps = np.hypot(*np.diff(path, axis=0).T)
    if steps.min() <= 0.0:
        raise TerrainError("has the same point twice in a row", file=name, field="lane")
    if steps.sum() < 3.0 * wheelbase:
        raise TerrainError(f"is {1000 * steps.sum():.0f} mm long", file=name, field="lane",
                           remedy="make it three wheelbases or more")
    x_min, x_max, y_min, y_max = ground.extent
    off = (path[:, 0] < x_min) | (path[:, 0] > x_max) | (path[:, 1] < y_min) | (path[:, 1] > y_max)
    if off.any():
        x, y = 1000 * path[int(np.argmax(off))]
        span = ", ".join(f"{1000 * value:.0f}" for value in (x_min, x_max, y_min, y_max))
        raise TerrainError("lies outside the ground", file=name, field="lane", value=f"{x:.0f},{y:.0f}",
                           remedy=f"stay in {span} mm")
    return path
