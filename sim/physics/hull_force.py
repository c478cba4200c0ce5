"""Hard parts on rock: skid, axle housings, links, bumpers and body shell, as feelers with friction."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import (
    F_BODY,
    F_DAMP,
    F_GRIP,
    F_ROOT,
    F_STIFF,
    F_TIP,
    G_TOP,
    M_HULL_HITS,
    M_HULL_LOAD,
    M_HULL_LOAD_AXLE,
    U_DT,
    U_GRIP,
)
from sim.physics.compiled import kernel
from sim.physics.ground_sampling import crossing, probe
from sim.physics.tip_friction import grip_tip
from sim.physics.tyre_force import SMALLEST_INCIDENCE
from sim.physics.vector import add_wrench

Array = NDArray[np.float64]
BRISTLE_SHARE = 0.7
"""Tangential over normal stiffness of a hard point: near Mindlin's 2(1 - nu)/(2 - nu) for plastics."""


@kernel
def hull_forces(
    controls: Array,
    memory: Array,
    hull: Array,
    bristles: Array,
    z: Array,
    header: Array,
    rotation: Array,
    origin: Array,
    spin: Array,
    velocity: Array,
    wrench: Array,
) -> None:
    """Ground forces on the feelers, added to the wrenches of their bodies; counts strikes and load in ``memory``."""
    dt = controls[U_DT]
    chassis_load = 0.0
    axle_load = 0.0
    for k in range(hull.shape[0]):
        b = int(hull[k, F_BODY])
        r = rotation[b]
        tx = hull[k, F_TIP]
        ty = hull[k, F_TIP + 1]
        tz = hull[k, F_TIP + 2]
        qz = origin[b, 2] + r[2, 0] * tx + r[2, 1] * ty + r[2, 2] * tz
        if qz > header[G_TOP]:
            bristles[k, 3] = 0.0
            continue
        qx = origin[b, 0] + r[0, 0] * tx + r[0, 1] * ty + r[0, 2] * tz
        qy = origin[b, 1] + r[1, 0] * tx + r[1, 1] * ty + r[1, 2] * tz
        ground, gx, gy = probe(z, header, qx, qy)
        gap = ground - qz
        if gap <= 0.0:
            bristles[k, 3] = 0.0
            continue
        tx -= hull[k, F_ROOT]
        ty -= hull[k, F_ROOT + 1]
        tz -= hull[k, F_ROOT + 2]
        dx = r[0, 0] * tx + r[0, 1] * ty + r[0, 2] * tz
        dy = r[1, 0] * tx + r[1, 1] * ty + r[1, 2] * tz
        dz = r[2, 0] * tx + r[2, 1] * ty + r[2, 2] * tz
        far = math.sqrt(dx * dx + dy * dy + dz * dz)
        dx /= far
        dy /= far
        dz /= far
        steep = gx * dx + gy * dy - dz
        length, gx, gy = crossing(
            z, header, qx - far * dx, qy - far * dy, qz - far * dz, dx, dy, dz, 0.0, far, gap, steep
        )  # fmt: skip
        back = far - length
        sx = qx - back * dx
        sy = qy - back * dy
        sz = qz - back * dz
        inv = 1.0 / math.sqrt(1.0 + gx * gx + gy * gy)
        nx = -gx * inv
        ny = -gy * inv
        nz = inv
        depth = back * max(-(nx * dx + ny * dy + nz * dz), SMALLEST_INCIDENCE)
        lx = sx - origin[b, 0]
        ly = sy - origin[b, 1]
        lz = sz - origin[b, 2]
        vx = velocity[b, 0] + spin[b, 1] * lz - spin[b, 2] * ly
        vy = velocity[b, 1] + spin[b, 2] * lx - spin[b, 0] * lz
        vz = velocity[b, 2] + spin[b, 0] * ly - spin[b, 1] * lx
        closing = -(vx * nx + vy * ny + vz * nz)
        if bristles[k, 3] == 0.0 and b == 0:
            memory[M_HULL_HITS] += 1.0
        force = max(hull[k, F_STIFF] * depth + hull[k, F_DAMP] * closing, 0.0)
        if bristles[k, 3] == 0.0:
            bristles[k, :3] = 0.0
        fx, fy, fz, _, zx, zy, zz = grip_tip(
            bristles[k, 0], bristles[k, 1], bristles[k, 2], force * nx, force * ny, force * nz, nx, ny, nz, vx, vy, vz,
            dt, BRISTLE_SHARE * hull[k, F_STIFF], BRISTLE_SHARE * hull[k, F_DAMP], hull[k, F_GRIP] * controls[U_GRIP],
        )  # fmt: skip
        bristles[k, 0] = zx
        bristles[k, 1] = zy
        bristles[k, 2] = zz
        bristles[k, 3] = 1.0
        add_wrench(wrench, b, origin, sx, sy, sz, fx, fy, fz)
        if b == 0:
            chassis_load += force
        else:
            axle_load += force
    memory[M_HULL_LOAD] = chassis_load
    memory[M_HULL_LOAD_AXLE] = axle_load
