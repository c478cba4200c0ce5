"""The axle on its four rods over the whole travel: closed-loop positions, and how far the two joints are from them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from models.linkage import AxleMotion, MotionAxis, Rods, axle_motion, axle_rods
from models.spec import Axle
from models.vector import Vector

_TIGHT = 1e-13
_MOST_STEPS = 40


@dataclass(frozen=True)
class AxlePose:
    """Where the axle is, compared with ride height: chassis frame."""

    shift: Vector
    """(3,) of the axle's middle, m."""
    turn: Vector
    """(3, 3) rotation matrix of the axle."""

    @property
    def lift(self) -> float:
        """Upward part of the shift, m."""
        return float(self.shift[2])

    @property
    def roll(self) -> float:
        """Angle (rad) of the axle's lateral axis over the horizontal, left up positive."""
        return math.asin(float(np.clip(self.turn[2, 1], -1.0, 1.0)))

    @property
    def steer(self) -> float:
        """Angle (rad) of the axle's lateral axis seen from above, left turn positive."""
        return math.atan2(-float(self.turn[0, 1]), float(self.turn[1, 1]))

    @property
    def pitch(self) -> float:
        """Wind-up (rad) about the axle's own lateral axis: nose-down positive (ISO 8855)."""
        return math.atan2(-float(self.turn[2, 0]), float(self.turn[0, 0]))


class OutOfReachError(ValueError):
    """The rods cannot be assembled with the axle there."""


def exact_pose(rods: Rods, lift: float, roll: float) -> AxlePose:
    """Place the axle so that all rods keep their lengths, its middle lifted (m) and rolled (rad) as asked.

    Newton's method on four rod lengths, lift and roll, in six unknowns, walking there from ride height in small steps.

    :raises OutOfReachError: no such position.
    """
    pose = AxlePose(np.zeros(3), np.eye(3))
    walk = max(1, math.ceil(max(abs(lift) / (0.1 * float(rods.lengths.min())), abs(roll) / 0.1)))
    for k in range(1, walk + 1):
        pose = _newton(rods, pose, lift * k / walk, roll * k / walk)
    return pose


def _newton(rods: Rods, pose: AxlePose, lift: float, roll: float) -> AxlePose:
    shift, turn = pose.shift, pose.turn
    arms = rods.p_axle - rods.centre
    size = float(np.mean(rods.lengths))
    for _ in range(_MOST_STEPS):
        now = AxlePose(shift, turn)
        r = arms @ turn.T
        rod = rods.p_chassis - (rods.centre + shift + r)
        length = np.linalg.norm(rod, axis=1)
        miss = np.concatenate([length - rods.lengths, [shift[2] - lift, (turn[2, 1] - math.sin(roll)) * size]])
        if float(np.max(np.abs(miss))) < _TIGHT * size:
            return now
        u = rod / length[:, None]
        # Growth of each length with (v, w): -(u . v + u . (w x r)); last row: z of w x (axle's lateral axis).
        slope = np.zeros((6, 6))
        slope[:4] = -np.hstack([u, np.cross(r, u)])
        slope[4, 2] = 1.0
        slope[5, 3:] = size * np.array([turn[1, 1], -turn[0, 1], 0.0])
        try:
            step = np.linalg.solve(slope, -miss)
        except np.linalg.LinAlgError:
            break
        shift = shift + step[:3]
        turn = Rotation.from_rotvec(step[3:]).as_matrix() @ turn
    raise OutOfReachError(f"the rods do not reach {1000 * lift:.1f} mm lift with {math.degrees(roll):.1f} deg roll")


def joint_pose(motion: AxleMotion, heave: float, roll: float) -> AxlePose:
    """Place the axle as the rigid model's two joints do: heave carries the roll axis."""
    turn_h, shift_h = _moved(motion.heave, heave, motion.centre)
    turn_r, shift_r = _moved(motion.roll, roll, motion.centre)
    return AxlePose(shift_h + turn_h @ shift_r, turn_h @ turn_r)


def _moved(axis: MotionAxis, amount: float, centre: Vector) -> tuple[Vector, Vector]:
    if axis.kind == "prismatic":
        return np.eye(3), amount * axis.direction
    turn = Rotation.from_rotvec(amount * axis.direction).as_matrix()
    arm = centre - axis.point
    return turn, turn @ arm - arm


def joint_pose_at(motion: AxleMotion, lift: float, roll: float) -> AxlePose:
    """Place the axle by the two joints so that its middle is lifted (m) and rolled (rad) as asked.

    :raises OutOfReachError: no such position.
    """
    reach = 1.0 if motion.heave.kind == "revolute" else 10.0
    heave_rate = abs(lift) + 1e-9

    def rolled(q_heave: float) -> float:
        return float(brentq(lambda q: joint_pose(motion, q_heave, q).roll - roll, -1.2, 1.2, xtol=1e-14))

    def missing(q_heave: float) -> float:
        return joint_pose(motion, q_heave, rolled(q_heave)).lift - lift

    try:
        arm = 1.0
        if motion.heave.kind == "revolute":
            arm = float(np.linalg.norm(motion.centre - motion.heave.point))
        bound = min(reach, 4.0 * (heave_rate + 0.2 * arm * abs(roll)) / arm)
        q = float(brentq(missing, -bound, bound, xtol=1e-14))
        return joint_pose(motion, q, rolled(q))
    except ValueError as fault:
        raise OutOfReachError(str(fault)) from None


@dataclass(frozen=True)
class JointError:
    """Largest difference between the two joints and the closed loop over a travel, at equal lift and roll."""

    shift: float
    """m, of the axle's middle in x and y."""
    steer: float
    """rad."""
    pitch: float
    """rad."""
    poses: int
    """Positions compared."""


def joint_error(rods: Rods, bump: float, droop: float, roll: float, steps: int = 5) -> JointError:
    """Compare the two joints with the closed loop over lift (-droop to bump, m) and roll (to both sides, rad)."""
    motion = axle_motion(rods)
    shift = steer = pitch = 0.0
    count = 0
    for lift in np.linspace(-droop, bump, steps):
        for angle in np.linspace(-roll, roll, steps):
            loop, tree = exact_pose(rods, float(lift), float(angle)), joint_pose_at(motion, float(lift), float(angle))
            shift = max(shift, float(np.linalg.norm((loop.shift - tree.shift)[:2])))
            steer = max(steer, abs(loop.steer - tree.steer))
            pitch = max(pitch, abs(loop.pitch - tree.pitch))
            count += 1
    return JointError(shift, steer, pitch, count)


def full_travel_error(axle: Axle, wheel_centre_height: float) -> JointError:
    """Compare over what an axle's shocks allow: bump, droop, and one of each at a time for roll.

    :raises OutOfReachError: the links bind before the shocks' stops.
    """
    shock = axle.shock
    bump, droop = shock.bump_mm / 1000.0, shock.droop_mm / 1000.0
    roll = math.atan2(bump + droop, 2.0 * abs(shock.axle_mm[1]) / 1000.0)
    return joint_error(axle_rods(axle, wheel_centre_height), bump, droop, roll, 3)
