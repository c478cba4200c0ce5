"""Approach, departure and breakover angles and clearances, in the side view; SI, angles in rad.

Definitions: 49 CFR 523.2 (2015): lines tangent to the static loaded radius arc of the tyres that touch the underside.
ISO 612:1978, 6.9-6.11, has the same geometry at another load (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.hullform import ROD_RADIUS
from models.spec import HullShape, Sheet
from models.vector import Vector

NONE_IN_THE_WAY = math.pi / 2.0
"""Angle given where nothing stands in front of (behind) the tyre: a wall."""
_ROUND = 72


@dataclass(frozen=True)
class Wheel:
    """A tyre in the side view."""

    x: float
    """m, of its centre."""
    radius: float
    """m, static loaded radius, which is also the height of its centre."""


@dataclass(frozen=True)
class Clearance:
    """What the underside leaves; rad and m."""

    approach: float
    departure: float
    breakover: float
    belly: float
    """Ground to the lowest point that rides on the chassis (running clearance, unsprung parts left out)."""
    front_axle: float
    rear_axle: float


def point_angle(x: float, height: float, radius: float) -> float:
    """Angle (rad) between the ground and the line that touches the tyre and goes through a point of the underside.

    ``asin(r / d) - atan2(r - y, x)`` with d the distance of the point from the wheel centre; from the definition by
    plane geometry. A point inside the tyre's arc is never touched and gives a right angle.

    :param x: m from the wheel centre, outwards (forward for approach, rearward for departure).
    """
    distance = math.hypot(x, radius - height)
    if distance <= radius or x <= 0.0:
        return NONE_IN_THE_WAY
    return math.asin(radius / distance) - math.atan2(radius - height, x)


def _angles(x: Vector, height: Vector, wheel: Wheel) -> Vector:
    """:func:`point_angle` of many points (n,) at once."""
    below = wheel.radius - height
    distance = np.hypot(x, below)
    free = (distance <= wheel.radius) | (x <= 0.0)
    sine = wheel.radius / np.where(free, wheel.radius, distance)
    return np.asarray(np.where(free, NONE_IN_THE_WAY, np.arcsin(sine) - np.arctan2(below, x)))


def approach_angle(points: Vector, wheel: Wheel, ahead: float = 1.0) -> float:
    """Smallest angle (rad) over underside points (n, 2: x, z, m) ahead (1) of the wheel, or behind it (-1)."""
    return min([NONE_IN_THE_WAY, *(float(v) for v in _angles(ahead * (points[:, 0] - wheel.x), points[:, 1], wheel))])


def breakover_angle(points: Vector, front: Wheel, rear: Wheel) -> float:
    """Smallest sum (rad) over underside points between the axles of the angles seen from both tyres.

    The supplement of the largest angle that two lines make which touch a tyre each and meet at the underside.
    """
    x, z = points[(rear.x < points[:, 0]) & (points[:, 0] < front.x)].T
    return min([math.pi, *(float(v) for v in _angles(front.x - x, z, front) + _angles(x - rear.x, z, rear))])


def clearance(sheet: Sheet, front: Wheel, rear: Wheel) -> Clearance:
    """Work out angles and clearances of a sheet's hull shapes and lower links.

    :raises BuildSheetError: an unreadable mesh.
    """
    by_body: dict[str, list[Vector]] = {"chassis": [], "front_axle": [], "rear_axle": []}
    for shape in sheet.hull:
        by_body[shape.body].append(outline(shape))
    points = np.vstack([np.empty((0, 2)), *(p for some in by_body.values() for p in some), _rod_points(sheet)])
    return Clearance(
        approach=approach_angle(points, front),
        departure=approach_angle(points, rear, -1.0),
        breakover=breakover_angle(points, front, rear),
        belly=_lowest(by_body["chassis"], float("nan")),
        front_axle=_lowest(by_body["front_axle"], _told(sheet.axles.front.clearance_mm)),
        rear_axle=_lowest(by_body["rear_axle"], _told(sheet.axles.rear.clearance_mm)),
    )


def outline(shape: HullShape) -> Vector:
    """Points (n, 2) of a shape's outline in the side view, x and z, m."""
    if shape.shape == "mesh" and shape.file is not None:
        from models.hullmesh import load_mesh  # late: see models.hullform

        return np.asarray(load_mesh(shape).vertices[:, [0, 2]])
    at, half = np.array(shape.at_mm)[[0, 2]] / 1000.0, np.array(shape.size_mm)[[0, 2]] / 2000.0
    if shape.shape == "cylinder":
        angle = np.arange(_ROUND) * 2.0 * np.pi / _ROUND
        return at + half * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return at + half * np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [1.0, 1.0]])


def _rod_points(sheet: Sheet) -> Vector:
    """Underside of the lower links: five points along each."""
    drop = ROD_RADIUS * sheet.wheelbase_mm
    points: list[Vector] = []
    for axle in (sheet.axles.front, sheet.axles.rear):
        for link in sorted(axle.links, key=lambda rod: rod.axle_mm[2] + rod.chassis_mm[2])[:2]:
            ends = np.array([link.axle_mm, link.chassis_mm])[:, [0, 2]]
            points.extend((ends[0] + share * (ends[1] - ends[0]) - [0.0, drop]) / 1000.0 for share in _SHARES)
    return np.array(points)


_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)


def _lowest(outlines: list[Vector], otherwise: float) -> float:
    return min((float(points[:, 1].min()) for points in outlines), default=otherwise)


def _told(clearance_mm: float | None) -> float:
    return float("nan") if clearance_mm is None else clearance_mm / 1000.0
