"""Where every body is and how it moves, and the way back from body wrenches to generalised forces."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.rigid import PARENTS
from sim.physics.arrays import O_FORCE, O_TAU, O_TORQUE, S_POS, S_Q, S_QD, S_QUAT, S_SPIN, S_VEL, Bodies, Drive, Motion
from sim.physics.compiled import kernel
from sim.physics.vector import (
    add_at,
    at,
    dot,
    minus,
    plus,
    plus_cross,
    put,
    put_at,
    rotate_about,
    rotation_from_quaternion,
    times,
    turn,
    vec,
)

Array = NDArray[np.float64]
PARENT = np.array(PARENTS, dtype=np.int64)
BODIES = len(PARENTS)


@kernel
def forward(state: Array, body: Bodies, drive: Drive, motion: Motion) -> None:
    """Fill the motion of every body from the pose and twist of the engine's base frame and the joints."""
    rotation = motion.rotation
    work = rotation[1]  # overwritten below: free to use for the base frame
    rotation_from_quaternion(state[S_QUAT], state[S_QUAT + 1], state[S_QUAT + 2], state[S_QUAT + 3], work)
    for i in range(3):
        for j in range(3):
            rotation[0, i, j] = dot(at(work, i, 0), at(drive.base_rotation, j, 0))  # R_WC = R_WE R_CE^T
    arm = times(-1.0, turn(rotation[0], vec(drive.base_p, 0)))
    spin = vec(state, S_SPIN)
    put_at(motion.origin, 0, 0, plus(vec(state, S_POS), arm))
    put_at(motion.spin, 0, 0, spin)
    put_at(motion.velocity, 0, 0, plus_cross(vec(state, S_VEL), spin, arm))
    for b in range(1, BODIES):
        p = PARENT[b]
        r = rotation[p]
        q = state[S_Q + b - 1]
        axis = turn(r, at(body.axis, b))
        rate = times(state[S_QD + b - 1], axis)
        arm = turn(r, at(body.place, b))
        spin = at(motion.spin, p)
        velocity = at(motion.velocity, p)
        if body.prismatic[b]:
            arm = plus(arm, times(q, axis))
            for i in range(3):
                put_at(rotation[b], i, 0, at(r, i))
            velocity = plus(plus_cross(velocity, spin, arm), rate)
        else:
            rotate_about(r, at(body.axis, b), q, rotation[b])
            velocity = plus_cross(velocity, spin, arm)
            spin = plus(spin, rate)
        put_at(motion.origin, b, 0, plus(at(motion.origin, p), arm))
        put_at(motion.spin, b, 0, spin)
        put_at(motion.velocity, b, 0, velocity)


@kernel
def generalise(state: Array, body: Bodies, motion: Motion, wrench: Array, out: Array) -> None:
    """Turn body wrenches (11, 6) into the base wrench at the engine's base point and joint efforts.

    Exact: the power of any set of body wrenches equals that of these generalised forces in every motion of the tree.
    Joint efforts are added to what ``out`` holds already (drive and steering torques). ``wrench`` is used up.
    """
    for b in range(BODIES - 1, 0, -1):
        p = PARENT[b]
        axis = turn(motion.rotation[p], at(body.axis, b))
        force = at(wrench, b, 0)
        moment = at(wrench, b, 3)
        out[O_TAU + b - 1] += dot(axis, force if body.prismatic[b] else moment)
        add_at(wrench, p, 0, force)
        add_at(wrench, p, 3, plus_cross(moment, minus(at(motion.origin, b), at(motion.origin, p)), force))
    force = at(wrench, 0, 0)
    put(out, O_FORCE, force)
    put(out, O_TORQUE, plus_cross(at(wrench, 0, 3), minus(at(motion.origin, 0), vec(state, S_POS)), force))
