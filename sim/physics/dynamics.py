"""Forward dynamics of the tree: accelerations from forces, by composite inertias and a sparse factorisation.

Composite rigid body and Newton-Euler recursions and the factorisation that fills no zero of a tree's mass matrix:
R. Featherstone, Rigid Body Dynamics Algorithms (Springer 2008), ch. 5, 6 and 8 (from memory). All bodies are taken in
world axes about one point, the base point, so that composites are plain sums and nothing is transformed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT, PARENTS
from sim.physics.arrays import (
    B_AXIS,
    B_COM,
    B_INERTIA,
    B_MASS,
    B_PRISMATIC,
    O_TAU,
    S_POS,
    S_QD,
)
from sim.physics.compiled import kernel

Array = NDArray[np.float64]
BODIES = len(PARENTS)
FREEDOMS = 6 + JOINT_COUNT
PARENT = np.array(PARENTS, dtype=np.int64)
ABOVE = np.array(
    [-1, 0, 1, 2, 3, 4, *(5 if p == 0 else 5 + p for p in PARENTS[1:])],
    dtype=np.int64,
)
"""The freedom that carries each freedom: velocity and angular velocity of the base (0 to 5), then the joints."""

# --- one row of work per body: it and all it carries, about the base point, world axes --------------------------------
(
    C_MASS,
    C_MOMENT,  # 3, mass times place
    C_INERTIA,  # 6: xx, yy, zz, xy, xz, yz
    C_FORCE,  # 3, that its motion takes besides accelerations of the freedoms
    C_TORQUE,  # 3
    C_TURN,  # 3, angular velocity of the joint at unit speed
    C_SLIDE,  # 3, velocity it gives the base point
    C_ALPHA,  # 3, angular acceleration with all freedoms' at zero
    C_ACC,  # 3, acceleration of the origin with all freedoms' at zero
    C_SIZE,
) = (0, 1, 4, 10, 13, 16, 19, 22, 25, 28)


@kernel
def mass_matrix_and_bias(
    state: Array,
    body: Array,
    frames: Array,
    origin: Array,
    spin: Array,
    gravity: Array,
    work: Array,
    matrix: Array,
    bias: Array,
) -> None:
    """Fill the lower triangle of the mass matrix (16, 16) and the bias force (16,) from this step's kinematics.

    Freedoms: the base point's velocity and the base's angular velocity in the world, then joint speeds. The bias is
    what weight and velocities take: ``matrix @ acceleration + bias = force``. ``work`` is (11, C_SIZE).
    """
    _single_bodies(state, body, frames, origin, spin, gravity, work)
    for b in range(BODIES - 1, 0, -1):
        p = PARENT[b]
        for k in range(C_TURN):
            work[p, k] += work[b, k]
    m = work[0, C_MASS]
    hx = work[0, C_MOMENT]
    hy = work[0, C_MOMENT + 1]
    hz = work[0, C_MOMENT + 2]
    for i in range(6):
        for j in range(i):
            matrix[i, j] = 0.0
    for i in range(3):
        matrix[i, i] = m
        matrix[3 + i, 3 + i] = work[0, C_INERTIA + i]
        bias[i] = work[0, C_FORCE + i]
        bias[3 + i] = work[0, C_TORQUE + i]
    # Angular momentum of a velocity v: moment x v.
    matrix[3, 1] = -hz
    matrix[3, 2] = hy
    matrix[4, 0] = hz
    matrix[4, 2] = -hx
    matrix[5, 0] = -hy
    matrix[5, 1] = hx
    matrix[4, 3] = work[0, C_INERTIA + 3]
    matrix[5, 3] = work[0, C_INERTIA + 4]
    matrix[5, 4] = work[0, C_INERTIA + 5]
    for b in range(1, BODIES):
        _joint_row(body, work, matrix, bias, b)


@kernel
def _single_bodies(
    state: Array, body: Array, frames: Array, origin: Array, spin: Array, gravity: Array, work: Array
) -> None:
    """Fill every body's own row of ``work``: inertia about the base point, bias force, joint motion, accelerations."""
    ox = state[S_POS]
    oy = state[S_POS + 1]
    oz = state[S_POS + 2]
    for b in range(BODIES):
        row = work[b]
        r = frames[b]
        # Place of the origin, and how it accelerates when no freedom does.
        px = origin[b, 0] - ox
        py = origin[b, 1] - oy
        pz = origin[b, 2] - oz
        if b == 0:
            wx = spin[0, 0]
            wy = spin[0, 1]
            wz = spin[0, 2]
            lx = lz = ly = 0.0
            # The base point has none: the origin's is that of turning about it.
            dx = px
            dy = py
            dz = pz
            ax = ay = az = 0.0
        else:
            p = PARENT[b]
            rp = frames[p]
            x = body[b, B_AXIS]
            y = body[b, B_AXIS + 1]
            z = body[b, B_AXIS + 2]
            ux = rp[0, 0] * x + rp[0, 1] * y + rp[0, 2] * z
            uy = rp[1, 0] * x + rp[1, 1] * y + rp[1, 2] * z
            uz = rp[2, 0] * x + rp[2, 1] * y + rp[2, 2] * z
            wx = spin[p, 0]
            wy = spin[p, 1]
            wz = spin[p, 2]
            qd = state[S_QD + b - 1]
            # Turning the axis with its parent.
            tx = qd * (wy * uz - wz * uy)
            ty = qd * (wz * ux - wx * uz)
            tz = qd * (wx * uy - wy * ux)
            lx = work[p, C_ALPHA]
            ly = work[p, C_ALPHA + 1]
            lz = work[p, C_ALPHA + 2]
            dx = px - (origin[p, 0] - ox)
            dy = py - (origin[p, 1] - oy)
            dz = pz - (origin[p, 2] - oz)
            ax = work[p, C_ACC] + ly * dz - lz * dy
            ay = work[p, C_ACC + 1] + lz * dx - lx * dz
            az = work[p, C_ACC + 2] + lx * dy - ly * dx
            if body[b, B_PRISMATIC] != 0.0:
                row[C_TURN] = row[C_TURN + 1] = row[C_TURN + 2] = 0.0
                row[C_SLIDE] = ux
                row[C_SLIDE + 1] = uy
                row[C_SLIDE + 2] = uz
                ax += 2.0 * tx
                ay += 2.0 * ty
                az += 2.0 * tz
            else:
                row[C_TURN] = ux
                row[C_TURN + 1] = uy
                row[C_TURN + 2] = uz
                row[C_SLIDE] = py * uz - pz * uy
                row[C_SLIDE + 1] = pz * ux - px * uz
                row[C_SLIDE + 2] = px * uy - py * ux
                lx += tx
                ly += ty
                lz += tz
        # Centripetal: w x (w x d) with the parent's spin, with which the joint's place turns.
        d = wx * dx + wy * dy + wz * dz
        w2 = wx * wx + wy * wy + wz * wz
        ax += wx * d - w2 * dx
        ay += wy * d - w2 * dy
        az += wz * d - w2 * dz
        row[C_ALPHA] = lx
        row[C_ALPHA + 1] = ly
        row[C_ALPHA + 2] = lz
        row[C_ACC] = ax
        row[C_ACC + 1] = ay
        row[C_ACC + 2] = az
        # The centre of mass.
        x = body[b, B_COM]
        y = body[b, B_COM + 1]
        z = body[b, B_COM + 2]
        rx = r[0, 0] * x + r[0, 1] * y + r[0, 2] * z
        ry = r[1, 0] * x + r[1, 1] * y + r[1, 2] * z
        rz = r[2, 0] * x + r[2, 1] * y + r[2, 2] * z
        wx = spin[b, 0]
        wy = spin[b, 1]
        wz = spin[b, 2]
        d = wx * rx + wy * ry + wz * rz
        w2 = wx * wx + wy * wy + wz * wz
        m = body[b, B_MASS]
        fx = m * (ax + ly * rz - lz * ry + wx * d - w2 * rx - gravity[0])
        fy = m * (ay + lz * rx - lx * rz + wy * d - w2 * ry - gravity[1])
        fz = m * (az + lx * ry - ly * rx + wz * d - w2 * rz - gravity[2])
        cx = px + rx
        cy = py + ry
        cz = pz + rz
        # Inertia about the centre of mass in world axes: R I R^T.
        ixx = body[b, B_INERTIA]
        iyy = body[b, B_INERTIA + 1]
        izz = body[b, B_INERTIA + 2]
        ixy = body[b, B_INERTIA + 3]
        ixz = body[b, B_INERTIA + 4]
        iyz = body[b, B_INERTIA + 5]
        ax = r[0, 0] * ixx + r[0, 1] * ixy + r[0, 2] * ixz
        ay = r[0, 0] * ixy + r[0, 1] * iyy + r[0, 2] * iyz
        az = r[0, 0] * ixz + r[0, 1] * iyz + r[0, 2] * izz
        jxx = ax * r[0, 0] + ay * r[0, 1] + az * r[0, 2]
        jxy = ax * r[1, 0] + ay * r[1, 1] + az * r[1, 2]
        jxz = ax * r[2, 0] + ay * r[2, 1] + az * r[2, 2]
        ax = r[1, 0] * ixx + r[1, 1] * ixy + r[1, 2] * ixz
        ay = r[1, 0] * ixy + r[1, 1] * iyy + r[1, 2] * iyz
        az = r[1, 0] * ixz + r[1, 1] * iyz + r[1, 2] * izz
        jyy = ax * r[1, 0] + ay * r[1, 1] + az * r[1, 2]
        jyz = ax * r[2, 0] + ay * r[2, 1] + az * r[2, 2]
        ax = r[2, 0] * ixx + r[2, 1] * ixy + r[2, 2] * ixz
        ay = r[2, 0] * ixy + r[2, 1] * iyy + r[2, 2] * iyz
        az = r[2, 0] * ixz + r[2, 1] * iyz + r[2, 2] * izz
        jzz = ax * r[2, 0] + ay * r[2, 1] + az * r[2, 2]
        # Torque about the base point: J alpha + w x J w + c x f.
        x = jxx * wx + jxy * wy + jxz * wz
        y = jxy * wx + jyy * wy + jyz * wz
        z = jxz * wx + jyz * wy + jzz * wz
        row[C_TORQUE] = jxx * lx + jxy * ly + jxz * lz + wy * z - wz * y + cy * fz - cz * fy
        row[C_TORQUE + 1] = jxy * lx + jyy * ly + jyz * lz + wz * x - wx * z + cz * fx - cx * fz
        row[C_TORQUE + 2] = jxz * lx + jyz * ly + jzz * lz + wx * y - wy * x + cx * fy - cy * fx
        row[C_FORCE] = fx
        row[C_FORCE + 1] = fy
        row[C_FORCE + 2] = fz
        row[C_MASS] = m
        row[C_MOMENT] = m * cx
        row[C_MOMENT + 1] = m * cy
        row[C_MOMENT + 2] = m * cz
        row[C_INERTIA] = jxx + m * (cy * cy + cz * cz)
        row[C_INERTIA + 1] = jyy + m * (cx * cx + cz * cz)
        row[C_INERTIA + 2] = jzz + m * (cx * cx + cy * cy)
        row[C_INERTIA + 3] = jxy - m * cx * cy
        row[C_INERTIA + 4] = jxz - m * cx * cz
        row[C_INERTIA + 5] = jyz - m * cy * cz


@kernel
def _joint_row(body: Array, work: Array, matrix: Array, bias: Array, b: int) -> None:
    """One joint's row of the mass matrix: momentum that it gives to all it carries, felt by every freedom above."""
    row = work[b]
    ux = row[C_TURN]
    uy = row[C_TURN + 1]
    uz = row[C_TURN + 2]
    sx = row[C_SLIDE]
    sy = row[C_SLIDE + 1]
    sz = row[C_SLIDE + 2]
    m = row[C_MASS]
    hx = row[C_MOMENT]
    hy = row[C_MOMENT + 1]
    hz = row[C_MOMENT + 2]
    px = m * sx + uy * hz - uz * hy
    py = m * sy + uz * hx - ux * hz
    pz = m * sz + ux * hy - uy * hx
    ixy = row[C_INERTIA + 3]
    ixz = row[C_INERTIA + 4]
    iyz = row[C_INERTIA + 5]
    lx = row[C_INERTIA] * ux + ixy * uy + ixz * uz + hy * sz - hz * sy
    ly = ixy * ux + row[C_INERTIA + 1] * uy + iyz * uz + hz * sx - hx * sz
    lz = ixz * ux + iyz * uy + row[C_INERTIA + 2] * uz + hx * sy - hy * sx
    i = 5 + b
    matrix[i, 0] = px
    matrix[i, 1] = py
    matrix[i, 2] = pz
    matrix[i, 3] = lx
    matrix[i, 4] = ly
    matrix[i, 5] = lz
    a = b
    while a > 0:
        up = work[a]
        matrix[i, 5 + a] = (
            up[C_TURN] * lx
            + up[C_TURN + 1] * ly
            + up[C_TURN + 2] * lz
            + up[C_SLIDE] * px
            + up[C_SLIDE + 1] * py
            + up[C_SLIDE + 2] * pz
        )
        a = PARENT[a]
    bias[i] = (
        ux * row[C_TORQUE]
        + uy * row[C_TORQUE + 1]
        + uz * row[C_TORQUE + 2]
        + sx * row[C_FORCE]
        + sy * row[C_FORCE + 1]
        + sz * row[C_FORCE + 2]
    )


@kernel
def solve(matrix: Array, x: Array) -> None:
    """Replace ``x`` (16,) by the solution of ``matrix @ solution = x``; the lower triangle is used up.

    Factors from the leaves to the base, which leaves every zero of the tree a zero.
    """
    for k in range(FREEDOMS - 1, 0, -1):
        own = 1.0 / matrix[k, k]
        i = ABOVE[k]
        while i >= 0:
            a = matrix[k, i] * own
            j = i
            while j >= 0:
                matrix[i, j] -= a * matrix[k, j]
                j = ABOVE[j]
            x[i] -= a * x[k]
            matrix[k, i] = a
            i = ABOVE[i]
    for k in range(FREEDOMS):
        value = x[k] / matrix[k, k]
        i = ABOVE[k]
        while i >= 0:
            value -= matrix[k, i] * x[i]
            i = ABOVE[i]
        x[k] = value


@kernel
def accelerations(
    state: Array,
    out: Array,
    body: Array,
    frames: Array,
    origin: Array,
    spin: Array,
    gravity: Array,
    work: Array,
    matrix: Array,
    result: Array,
) -> None:
    """Accelerations (16,) of the freedoms under the generalised forces ``out`` and gravity (3,), world axes."""
    mass_matrix_and_bias(state, body, frames, origin, spin, gravity, work, matrix, result)
    for k in range(FREEDOMS):
        result[k] = out[k] - result[k]
    solve(matrix, result)


assert O_TAU == 6  # forces come in the order of the freedoms
