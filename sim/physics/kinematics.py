"""Where every body is and how it moves, and the way back from body wrenches to generalised forces."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.rigid import PARENTS
from sim.physics.arrays import (
    B_AXIS,
    B_P,
    B_PRISMATIC,
    D_BASE_P,
    O_FORCE,
    O_TAU,
    O_TORQUE,
    S_POS,
    S_Q,
    S_QD,
    S_QUAT,
    S_SPIN,
    S_VEL,
)
from sim.physics.compiled import kernel
from sim.physics.vector import rotate_about, rotation_from_quaternion

Array = NDArray[np.float64]
PARENT = np.array(PARENTS, dtype=np.int64)
BODIES = len(PARENTS)


@kernel
def forward(
    state: Array, body: Array, drive: Array, rotation: Array, origin: Array, spin: Array, velocity: Array
) -> None:
    """Fill world rotation (11, 3, 3), origin, angular velocity and origin velocity (11, 3) of every body.

    ``state`` holds the pose and twist of the engine's base frame; ``drive`` carries where that frame sits in the
    chassis frame.
    """
    work = rotation[1]  # overwritten below: free to use for the base frame
    rotation_from_quaternion(state[S_QUAT], state[S_QUAT + 1], state[S_QUAT + 2], state[S_QUAT + 3], work)
    for i in range(3):
        for j in range(3):
            # R_WC = R_WE R_CE^T
            rotation[0, i, j] = (
                work[i, 0] * drive[D_BASE_P + 3 + 3 * j]
                + work[i, 1] * drive[D_BASE_P + 4 + 3 * j]
                + work[i, 2] * drive[D_BASE_P + 5 + 3 * j]
            )
    wx = state[S_SPIN]
    wy = state[S_SPIN + 1]
    wz = state[S_SPIN + 2]
    r = rotation[0]
    bx = drive[D_BASE_P]
    by = drive[D_BASE_P + 1]
    bz = drive[D_BASE_P + 2]
    dx = -(r[0, 0] * bx + r[0, 1] * by + r[0, 2] * bz)
    dy = -(r[1, 0] * bx + r[1, 1] * by + r[1, 2] * bz)
    dz = -(r[2, 0] * bx + r[2, 1] * by + r[2, 2] * bz)
    origin[0, 0] = state[S_POS] + dx
    origin[0, 1] = state[S_POS + 1] + dy
    origin[0, 2] = state[S_POS + 2] + dz
    spin[0, 0] = wx
    spin[0, 1] = wy
    spin[0, 2] = wz
    velocity[0, 0] = state[S_VEL] + wy * dz - wz * dy
    velocity[0, 1] = state[S_VEL + 1] + wz * dx - wx * dz
    velocity[0, 2] = state[S_VEL + 2] + wx * dy - wy * dx
    for b in range(1, BODIES):
        p = PARENT[b]
        r = rotation[p]
        q = state[S_Q + b - 1]
        qd = state[S_QD + b - 1]
        ax = body[b, B_AXIS]
        ay = body[b, B_AXIS + 1]
        az = body[b, B_AXIS + 2]
        ux = r[0, 0] * ax + r[0, 1] * ay + r[0, 2] * az
        uy = r[1, 0] * ax + r[1, 1] * ay + r[1, 2] * az
        uz = r[2, 0] * ax + r[2, 1] * ay + r[2, 2] * az
        lx = body[b, B_P]
        ly = body[b, B_P + 1]
        lz = body[b, B_P + 2]
        dx = r[0, 0] * lx + r[0, 1] * ly + r[0, 2] * lz
        dy = r[1, 0] * lx + r[1, 1] * ly + r[1, 2] * lz
        dz = r[2, 0] * lx + r[2, 1] * ly + r[2, 2] * lz
        wx = spin[p, 0]
        wy = spin[p, 1]
        wz = spin[p, 2]
        if body[b, B_PRISMATIC] != 0.0:
            dx += q * ux
            dy += q * uy
            dz += q * uz
            rotation[b, :, :] = r
            spin[b, 0] = wx
            spin[b, 1] = wy
            spin[b, 2] = wz
            velocity[b, 0] = velocity[p, 0] + wy * dz - wz * dy + qd * ux
            velocity[b, 1] = velocity[p, 1] + wz * dx - wx * dz + qd * uy
            velocity[b, 2] = velocity[p, 2] + wx * dy - wy * dx + qd * uz
        else:
            rotate_about(r, ax, ay, az, q, rotation[b])
            spin[b, 0] = wx + qd * ux
            spin[b, 1] = wy + qd * uy
            spin[b, 2] = wz + qd * uz
            velocity[b, 0] = velocity[p, 0] + wy * dz - wz * dy
            velocity[b, 1] = velocity[p, 1] + wz * dx - wx * dz
            velocity[b, 2] = velocity[p, 2] + wx * dy - wy * dx
        origin[b, 0] = origin[p, 0] + dx
        origin[b, 1] = origin[p, 1] + dy
        origin[b, 2] = origin[p, 2] + dz


@kernel
def generalise(state: Array, body: Array, rotation: Array, origin: Array, wrench: Array, out: Array) -> None:
    """Turn body wrenches (11, 6) into the base wrench at the engine's base point and joint efforts.

    Exact: the power of any set of body wrenches equals that of these generalised forces in every motion of the tree.
    Joint efforts are added to what ``out`` holds already (drive and steering torques). ``wrench`` is used up.
    """
    for b in range(BODIES - 1, 0, -1):
        p = PARENT[b]
        r = rotation[p]
        ax = body[b, B_AXIS]
        ay = body[b, B_AXIS + 1]
        az = body[b, B_AXIS + 2]
        ux = r[0, 0] * ax + r[0, 1] * ay + r[0, 2] * az
        uy = r[1, 0] * ax + r[1, 1] * ay + r[1, 2] * az
        uz = r[2, 0] * ax + r[2, 1] * ay + r[2, 2] * az
        fx = wrench[b, 0]
        fy = wrench[b, 1]
        fz = wrench[b, 2]
        mx = wrench[b, 3]
        my = wrench[b, 4]
        mz = wrench[b, 5]
        if body[b, B_PRISMATIC] != 0.0:
            out[O_TAU + b - 1] += ux * fx + uy * fy + uz * fz
        else:
            out[O_TAU + b - 1] += ux * mx + uy * my + uz * mz
        dx = origin[b, 0] - origin[p, 0]
        dy = origin[b, 1] - origin[p, 1]
        dz = origin[b, 2] - origin[p, 2]
        wrench[p, 0] += fx
        wrench[p, 1] += fy
        wrench[p, 2] += fz
        wrench[p, 3] += mx + dy * fz - dz * fy
        wrench[p, 4] += my + dz * fx - dx * fz
        wrench[p, 5] += mz + dx * fy - dy * fx
    fx = wrench[0, 0]
    fy = wrench[0, 1]
    fz = wrench[0, 2]
    dx = origin[0, 0] - state[S_POS]
    dy = origin[0, 1] - state[S_POS + 1]
    dz = origin[0, 2] - state[S_POS + 2]
    out[O_FORCE] = fx
    out[O_FORCE + 1] = fy
    out[O_FORCE + 2] = fz
    out[O_TORQUE] = wrench[0, 3] + dy * fz - dz * fy
    out[O_TORQUE + 1] = wrench[0, 4] + dz * fx - dx * fz
    out[O_TORQUE + 2] = wrench[0, 5] + dx * fy - dy * fx
