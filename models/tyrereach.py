"""Where the treads of a wheel can come: every steering angle up to full lock, every height of its travel.

Millimetres in the sheet frame.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from models.spec import Axle, Tyre
from models.vector import Vector

STEER_STEPS, HEAVE_STEPS = 9, 4
STEP_MM = 1.5


@lru_cache(maxsize=16)
def tyre_points(axle: Axle, tyre: Tyre, side: float, up: float, down: float) -> Vector:
    """Points (n, 3), mm, all over a tyre and its rim at every steering angle up to full lock and all heights.

    :param side: 1 for the left wheel, -1 for the right.
    :param up: mm it can rise.
    """
    radius = tyre.outside_diameter_mm / 2.0
    grid = np.arange(-radius, radius + STEP_MM, STEP_MM)
    x, z = (axis.ravel() for axis in np.meshgrid(grid, grid, indexing="ij"))
    disc = np.stack([x, z], axis=1)[np.hypot(x, z) <= radius]
    rim = radius * np.stack([np.cos(turn := np.linspace(0, 2 * np.pi, 90)), np.sin(turn)], axis=1)
    disc = np.vstack([disc, rim])
    rows = np.linspace(-0.5, 0.5, 7) * tyre.width_mm
    centre = np.array([axle.x_mm, side * axle.track_mm / 2.0, radius])
    solid = np.concatenate([np.stack([disc[:, 0], np.full(len(disc), row), disc[:, 1]], axis=1) for row in rows])
    solid = solid + centre
    found = []
    for angle in _angles(axle):
        turned = _steered(solid[:, :2], axle, side, angle)
        for rise in np.linspace(-down, up, HEAVE_STEPS):
            found.append(np.column_stack([turned, solid[:, 2] + rise]))
    return np.concatenate(found)


@lru_cache(maxsize=64)
def outline_above(axle: Axle, tyre: Tyre, side: float, up: float, height: float) -> tuple[tuple[float, float], ...]:
    """Corners (mm, in plan, anticlockwise) of where a tyre comes above a height; empty if it does not.

    At the top of its travel a wheel is widest above every height: there it is a rectangle, as long as the chord of its
    circle at that height and as wide as the tyre, which the steering turns about its pin.

    :param side: 1 for the left wheel, -1 for the right.
    :param up: mm it can rise.
    """
    from scipy.spatial import ConvexHull

    radius = tyre.outside_diameter_mm / 2.0
    under = height - radius - up
    if under >= radius:
        return ()
    half = np.sqrt(radius**2 - max(under, 0.0) ** 2)
    corners = np.array([(x * half, y * tyre.width_mm / 2.0) for x in (-1.0, 1.0) for y in (-1.0, 1.0)])
    corners += (axle.x_mm, side * axle.track_mm / 2.0)
    turned = np.concatenate([_steered(corners, axle, side, angle) for angle in _angles(axle)])
    return tuple((float(x), float(y)) for x, y in turned[ConvexHull(turned).vertices])


def _angles(axle: Axle) -> Vector:
    return np.radians(np.linspace(-axle.steer_deg, axle.steer_deg, STEER_STEPS if axle.steer_deg else 1))


def _steered(places: Vector, axle: Axle, side: float, angle: float) -> Vector:
    """Places in plan (n, 2) when the wheel is steered by an angle (rad, left positive)."""
    pin = np.array([axle.x_mm, side * (axle.kingpin_y_mm or axle.track_mm / 2.0)])
    cos, sin = np.cos(angle), np.sin(angle)
    return (places - pin) @ np.array([[cos, sin], [-sin, cos]]) + pin
