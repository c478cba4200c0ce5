"""Four rods that hold an axle: the two motions they leave, and what those say about the truck.

An axle on rods from ``p_a`` (axle) to ``p_c`` (chassis) may move with the small twist ``(v, w)`` if every rod keeps
its length: ``u . (v + w x p_a) = 0``, ``u`` the rod's direction. Four rods leave a two-dimensional space of twists.
A pure rotation keeps a rod's length when its axis meets the rod's line (or is parallel to it), so the revolute axes
in that space are the lines that meet all four rods: two lines at most. For a left-right symmetric layout they are
the lateral axis through the side-view instant centre (heave) and the roll axis in the middle plane.

Twists are taken about the axle's centre and are written ``(v, w)``; lengths in m, vehicle axes (ISO 8855).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.errors import BuildSheetError
from models.spec import Axle
from models.vector import Vector

SLIDE_AT = 40.0
"""An instant centre farther away than this many link lengths is taken as infinitely far: the axle slides."""
_LOOSE = 1e-3
"""Least stretch of a rod per unit of a motion that must be held, rotations counted at a rod's length."""


@dataclass(frozen=True)
class Rods:
    """The four rods of one axle at ride height, sheet frame."""

    p_axle: Vector
    """(4, 3) ends on the axle, m."""
    p_chassis: Vector
    """(4, 3) ends on the chassis, m."""
    centre: Vector
    """(3,) middle of the axle at wheel-centre height, m."""

    @property
    def lengths(self) -> Vector:
        """Eye to eye, (4,), m."""
        return np.asarray(np.linalg.norm(self.p_chassis - self.p_axle, axis=1))

    @property
    def directions(self) -> Vector:
        """Unit vectors from axle to chassis, (4, 3)."""
        return np.asarray((self.p_chassis - self.p_axle) / self.lengths[:, None])


def axle_rods(axle: Axle, wheel_centre_height: float) -> Rods:
    """Take the rods of a sheet's axle, whose wheel centres stand at this height (m) over the datum."""
    return Rods(p_axle=np.array([link.axle_mm for link in axle.links]) / 1000.0,
                p_chassis=np.array([link.chassis_mm for link in axle.links]) / 1000.0,
                centre=np.array([axle.x_mm / 1000.0, 0.0, wheel_centre_height]))


@dataclass(frozen=True)
class MotionAxis:
    """One of the two motions that the rods leave, as a joint between chassis and axle."""

    kind: Literal["revolute", "prismatic"]
    point: Vector
    """(3,) point of a revolute axis nearest to the axle's centre; the centre itself for a slide. Sheet frame, m."""
    direction: Vector
    """(3,) unit vector."""
    pitch: float
    """m of slide along the axis per rad, which a plain revolute joint neglects; 0 for a symmetric layout."""


@dataclass(frozen=True)
class AxleMotion:
    """Heave (bump positive) and roll (left wheel up positive) of an axle on its rods."""

    heave: MotionAxis
    roll: MotionAxis
    centre: Vector
    """(3,) axle centre, sheet frame, m."""


def constraint_matrix(rods: Rods) -> Vector:
    """Rows ``[u, r x u]``, (4, 6), that a twist ``(v, w)`` about the axle centre must be normal to; r in m."""
    u = rods.directions
    return np.hstack([u, np.cross(rods.p_axle - rods.centre, u)])


def free_twists(rods: Rods, where: str = "links") -> Vector:
    """Orthonormal basis, (2, 6), of the twists that keep all four rod lengths (rotations scaled by the rods' size).

    :raises BuildSheetError: the rods leave more than two motions, or hardly hold one of them.
    """
    size = float(np.mean(rods.lengths))
    scale = np.array([1.0, 1.0, 1.0, size, size, size])
    rows = constraint_matrix(rods) / scale
    _, _, vt = np.linalg.svd(rows)
    # With the middle kept from rising (2) and the axle from rolling (3), nothing must be left to move.
    if np.linalg.svd(np.delete(rows, [2, 3], axis=1), compute_uv=False)[-1] < _LOOSE:
        raise BuildSheetError(
            "these four links do not hold the axle: it could move without stretching any of them.",
            remedy="Angle two links inwards (triangulate), or make one of them a panhard rod across the truck.",
            field=where,
        )
    return np.asarray(vt[4:] / scale)


def axle_motion(rods: Rods, where: str = "links") -> AxleMotion:
    """Find heave and roll as joints: the two lines that meet all four rods, or the nearest axes where there are none.

    :raises BuildSheetError: the rods do not hold the axle.
    """
    first, second = free_twists(rods, where)
    pair = _zero_pitch_pair(first, second)
    if pair is None:
        pair = (_without(3, first, second), _without(2, first, second))
    # Heave lifts the axle's middle, roll turns it: compare lift with roll at one rod length aside.
    reach = float(np.mean(rods.lengths))
    heave, roll = sorted(pair, key=lambda t: abs(t[3]) * reach / (abs(t[2]) + 1e-12))
    heave = heave * (1.0 if heave[2] >= 0.0 else -1.0)
    roll = roll * (1.0 if roll[3] >= 0.0 else -1.0)
    return AxleMotion(_as_axis(heave, rods), _as_axis(roll, rods), rods.centre)


def _zero_pitch_pair(first: Vector, second: Vector) -> tuple[Vector, Vector] | None:
    """Combine two twists into the two with ``w . v = 0`` (pure rotations or slides), or None if not real."""
    a = float(first[3:] @ first[:3])
    b = float(first[3:] @ second[:3] + second[3:] @ first[:3])
    c = float(second[3:] @ second[:3])
    size = max(abs(a), abs(b), abs(c))
    disc = b * b - 4.0 * a * c
    # Rods that are all parallel leave a slide and a roll at right angles to it: every mixture of them has no pitch, and
    # a, b and c are rounding errors.
    whole = math.prod(float(np.linalg.norm([first[part], second[part]])) for part in (slice(3), slice(3, 6)))
    if size <= 1e-12 * whole or disc <= 1e-10 * size * size:
        return None
    # a s^2 + b s t + c t^2 = 0 without cancellation: one root from the larger of the two sums, the other by product.
    q = -0.5 * (b + math.copysign(math.sqrt(disc), b))
    return q * first + a * second, c * first + q * second


def _without(component: int, first: Vector, second: Vector) -> Vector:
    """Combine two twists so that one component vanishes."""
    return np.asarray(second[component] * first - first[component] * second)


def _as_axis(twist: Vector, rods: Rods) -> MotionAxis:
    v, w = twist[:3], twist[3:]
    spin2 = float(w @ w)
    if spin2 == 0.0 or np.linalg.norm(v) > math.sqrt(spin2) * SLIDE_AT * float(np.mean(rods.lengths)):
        return MotionAxis("prismatic", rods.centre.copy(), v / np.linalg.norm(v), 0.0)
    return MotionAxis("revolute", rods.centre + np.cross(w, v) / spin2, w / math.sqrt(spin2), float(w @ v) / spin2)


def velocity(axis: MotionAxis, point: Vector) -> Vector:
    """Velocity (3,) of a point that rides on the axle, per unit of the joint: m/rad or 1."""
    if axis.kind == "prismatic":
        return axis.direction.copy()
    return np.cross(axis.direction, point - axis.point)


def instant_centre(motion: AxleMotion) -> tuple[float, float] | None:
    """Side-view instant centre (x, z), sheet frame, m: where the heave axis meets y = 0; None at infinity."""
    heave = motion.heave
    if heave.kind == "prismatic" or abs(heave.direction[1]) < 1e-9:
        return None
    p = heave.point - heave.direction * (heave.point[1] / heave.direction[1])
    return float(p[0]), float(p[2])


def anti_squat_percent(motion: AxleMotion, cg_height: float, wheelbase: float, drive_share: float, rear: bool) -> float:
    """Share of the load transfer under drive that the links carry, in percent: squat at the rear, lift at the front.

    A solid axle whose links carry the drive torque: the line from the contact patch to the instant centre against the
    line of slope ``cg_height / wheelbase``, times this axle's share of the drive (Gillespie, Fundamentals of Vehicle
    Dynamics, SAE 1992, ch. 7; the factor for shared drive after Milliken & Milliken, Race Car Vehicle Dynamics, ch.
    17; both from memory). Heights above the ground at the datum. An axle that slides has the slope normal to it.
    """
    centre = instant_centre(motion)
    if centre is None:
        v = motion.heave.direction
        slope = -v[0] / v[2] if rear else v[0] / v[2]
    else:
        lever = centre[0] - motion.centre[0] if rear else motion.centre[0] - centre[0]
        slope = centre[1] / lever
    return float(100.0 * drive_share * slope * wheelbase / cg_height)


def roll_centre_height(motion: AxleMotion) -> float:
    """Height over the datum (m) at which the roll axis crosses the vertical plane through the wheel centres."""
    roll = motion.roll
    if roll.kind == "prismatic" or abs(roll.direction[0]) < 1e-9:
        return float("nan")
    along = (motion.centre[0] - roll.point[0]) / roll.direction[0]
    return float(roll.point[2] + along * roll.direction[2])


def roll_steer(motion: AxleMotion) -> float:
    """Steer angle of the axle (rad to the left) per rad of axle roll relative to the chassis: the axis's incline."""
    roll = motion.roll
    if roll.kind == "prismatic" or abs(roll.direction[0]) < 1e-9:
        return float("nan")
    return float(roll.direction[2] / roll.direction[0])
