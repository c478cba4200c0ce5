"""Where a picture is taken from: side, front and chase, all following the truck."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class View:
    """Direction and distance from which the truck is looked at, in its lane's frame."""

    azimuth: float
    """rad from ahead of the truck to the eye, anticlockwise seen from above."""
    elevation: float
    """rad above the horizon."""
    distance: float
    """Wheelbases from eye to truck."""
    lens: float = 2.4
    """Focal length over half of the picture's height."""


VIEWS: dict[str, View] = {
    "side": View(math.radians(-90.0), math.radians(8.0), 3.0),
    "front": View(math.radians(-14.0), math.radians(16.0), 2.9),
    "chase": View(math.radians(-142.0), math.radians(24.0), 3.0),
}
"""The right side is seen from the side, so that forward is to the right."""


@dataclass(frozen=True)
class Camera:
    """A pinhole: eye point and the three directions of the picture."""

    eye: Array
    right: Array
    up: Array
    ahead: Array
    focal: float
    """Pixels."""
    centre: tuple[float, float]
    """Pixels."""

    def project(self, points: Array) -> Array:
        """Pixel x, pixel y (down) and depth (m) of points (n, 3)."""
        d = points - self.eye
        depth = d @ self.ahead
        with np.errstate(divide="ignore", invalid="ignore"):
            x = self.centre[0] + self.focal * (d @ self.right) / depth
            y = self.centre[1] - self.focal * (d @ self.up) / depth
        return np.stack([x, y, depth], axis=1)


def camera(view: View, target: Array, heading: float, wheelbase: float, size: tuple[int, int]) -> Camera:
    """Camera of a view that looks at ``target`` (3,) m; ``heading`` of the lane in rad, ``size`` in pixels."""
    turn = heading + view.azimuth
    back = np.array([
        math.cos(turn) * math.cos(view.elevation),
        math.sin(turn) * math.cos(view.elevation),
        math.sin(view.elevation),
    ])
    ahead = -back
    right = np.array([-math.sin(turn), math.cos(turn), 0.0])
    up = np.cross(right, ahead)
    width, height = size
    # A narrow picture must not cut the truck off at both ends.
    focal = view.lens * min(height, 0.8 * width) / 2.0
    return Camera(target + view.distance * wheelbase * back, right, up, ahead, focal, (width / 2.0, 0.54 * height))
