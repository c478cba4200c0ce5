"""The tyre: radial spokes shortened by the ground, with a bristle of tread at each tip.

Radial springs that envelop the ground follow D. C. Davis, Vehicle System Dynamics 4 (1975), and Badalamenti and
Doyle (1988); the force of a spoke acts along the spoke. Its part along the ground plus the bristle is held inside
the friction cone about the ground's normal, so a fully sliding tyre carries exactly mu times its normal load, and a
standing one neither creeps nor needs a speed to hold.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import WHEEL_BODIES
from sim.physics.arrays import (
    M_PRESSURE,
    M_SINK,
    T_AREA,
    T_BRISTLE,
    T_CARCASS,
    T_DAMP,
    T_HALF_WIDTH,
    T_LAW_STEP,
    T_RADIUS,
    T_RIM,
    T_SIDE,
    U_DT,
    U_GRIP,
    W_FX,
    W_NORMAL,
    W_PX,
    W_SINK,
    W_TOUCH,
    Motion,
)
from sim.physics.compiled import kernel
from sim.physics.ground_sampling import Ground, crossing, probe, survey
from sim.physics.rock_edge import SHARP, edge_normal, face_beside
from sim.physics.tyre_grip import update_pressure, wheel_grip
from sim.physics.tyre_patch import grip_patch, move_carcass, note_spoke

Array = NDArray[np.float64]
WHEELS = np.array(WHEEL_BODIES, dtype=np.int64)
TREAD_BRIDGE = 0.045
"""Stretch of tread to either side of a spoke, over the tyre's radius, that stands across an edge with it: the tread is
a band and not a brush. Fixed, so that the ledge limit depends neither on the number of spokes nor on the grid (assumed;
1.2 mm on a 1/24, less than a tread block)."""
SMALLEST_INCIDENCE = 0.2
"""Floor of abs(n.d) where the shortening speed is divided by it: the limit for a spoke that lies along a face."""


@kernel
def spoke_law(law: Array, wheel: int, step: float, shortening: float) -> tuple[float, float]:
    """Force and stiffness of one spoke from its wheel's row of the table (linear between samples)."""
    x = shortening / step
    k = min(int(x), law.shape[1] - 2)
    rise = law[wheel, k + 1] - law[wheel, k]
    return law[wheel, k] + rise * (x - k), rise / step


@kernel
def lowest_point(
    wheels: Array,
    wheel: int,
    cx: float,
    cy: float,
    cz: float,
    ax: float,
    ay: float,
    az: float,
    radius: float,
) -> None:
    """Let the lowest point of a lifted wheel's rolling circle stand in for its contact patch."""
    flat = math.sqrt(max(1.0 - az * az, 1.0e-12))
    wheels[wheel, W_PX] = cx + radius * az * ax / flat
    wheels[wheel, W_PX + 1] = cy + radius * az * ay / flat
    wheels[wheel, W_PX + 2] = cz - radius * flat


@kernel
def tyre_forces(
    controls: Array,
    memory: Array,
    tyre: Array,
    row: Array,
    law: Array,
    compass: Array,
    bristles: Array,
    patch: Array,
    ground: Ground,
    motion: Motion,
    wrench: Array,
    wheels: Array,
) -> None:
    """Ground forces of the four tyres: added to the wheel bodies' wrenches and reported per wheel in ``wheels``."""
    rotation, origin, spin, velocity = motion
    dt = controls[U_DT]
    n_round = compass.shape[0]
    rows = row.shape[1]
    middle = rows // 2
    deepest = 0.0
    for wheel in range(4):
        b = WHEELS[wheel]
        cx = origin[b, 0]
        cy = origin[b, 1]
        cz = origin[b, 2]
        r = rotation[b]
        ax = r[0, 1]
        ay = r[1, 1]
        az = r[2, 1]
        wx = spin[b, 0]
        wy = spin[b, 1]
        wz = spin[b, 2]
        radius = tyre[wheel, T_RADIUS]
        half = tyre[wheel, T_HALF_WIDTH]
        reach = radius + half
        ceiling, sharpest = survey(ground, cx - reach, cx + reach, cy - reach, cy + reach)
        bridge = TREAD_BRIDGE * radius
        lowest_row = half * abs(az)
        near = 0.5 * tyre[wheel, T_RIM]
        step = tyre[wheel, T_LAW_STEP]
        tread = tyre[wheel, T_BRISTLE]
        damp = tyre[wheel, T_DAMP]
        mu = wheel_grip(tyre, memory, wheel, controls[U_GRIP])
        touching = 0
        sink = 0.0
        for i in range(n_round):
            cosine = compass[i, 0]
            sine = compass[i, 1]
            dz = cosine * r[2, 0] + sine * r[2, 2]
            live = bristles[wheel, i, rows, 0] != 0.0
            if cz + radius * dz - lowest_row > ceiling:
                if live:
                    for j in range(rows):
                        bristles[wheel, i, j, 3] = 0.0
                    bristles[wheel, i, rows, 0] = 0.0
                continue
            dx = cosine * r[0, 0] + sine * r[0, 2]
            dy = cosine * r[1, 0] + sine * r[1, 2]
            count = 0
            middle_touches = False
            for turn in range(rows):
                # The middle row first: where it touches, no rock face stands beside the tyre.
                j = middle if turn == 0 else (turn - 1 if turn <= middle else turn)
                ry = row[wheel, j, 0]
                rr = row[wheel, j, 1]
                hx = cx + ry * ax
                hy = cy + ry * ay
                hz = cz + ry * az
                level, gx, gy = probe(ground, hx + rr * dx, hy + rr * dy)
                gap = level - (hz + rr * dz)
                if gap <= 0.0:
                    bristles[wheel, i, j, 3] = 0.0
                    continue
                length, gx, gy = crossing(
                    ground, (hx, hy, hz), (dx, dy, dz), near, rr, gap, gx * dx + gy * dy - dz
                )  # fmt: skip
                short = rr - length
                ux = dx
                uy = dy
                uz = dz
                qx = hx + length * dx
                qy = hy + length * dy
                qz = hz + length * dz
                sideways = False
                if turn == 0:
                    middle_touches = True
                elif not middle_touches:
                    side = 1.0 if ry > 0.0 else -1.0
                    width = abs(ry)
                    ex = cx + rr * dx
                    ey = cy + rr * dy
                    ez = cz + rr * dz
                    out, sx, sy = face_beside(
                        ground, ex, ey, ez, side * ax, side * ay, side * az, width, gap, short
                    )  # fmt: skip
                    if out < width:
                        sideways = True
                        short = width - out
                        ux = side * ax
                        uy = side * ay
                        uz = side * az
                        qx = ex + out * ux
                        qy = ey + out * uy
                        qz = ez + out * uz
                        gx = sx
                        gy = sy
                if sideways:
                    local = tyre[wheel, T_SIDE]
                    force = local * short
                else:
                    force, local = spoke_law(law, wheel, step, short)
                inv = 1.0 / math.sqrt(1.0 + gx * gx + gy * gy)
                nx = -gx * inv
                ny = -gy * inv
                nz = inv
                if sharpest > SHARP and not sideways:
                    nx, ny, nz = edge_normal(
                        ground, qx, qy, qz, bridge, ux, uy, uz, ax, ay, az, nx, ny, nz
                    )  # fmt: skip
                lx = qx - cx
                ly = qy - cy
                lz = qz - cz
                vx = velocity[b, 0] + wy * lz - wz * ly
                vy = velocity[b, 1] + wz * lx - wx * lz
                vz = velocity[b, 2] + wx * ly - wy * lx
                incidence = min(nx * ux + ny * uy + nz * uz, -SMALLEST_INCIDENCE)
                closing = (vx * nx + vy * ny + vz * nz) / incidence
                force = max(force + damp * local * closing, 0.0)
                note_spoke(
                    patch, touching + count, bristles, wheel, i, j, lx, ly, lz, nx, ny, nz, -force * ux, -force * uy,
                    -force * uz, vx, vy, vz,
                )  # fmt: skip
                count += 1
                sink = max(sink, short)
            bristles[wheel, i, rows, 0] = float(count)
            touching += count
        stiff = tyre[wheel, T_CARCASS]
        room = patch[patch.shape[0] - 1]
        move_carcass(patch, touching, memory, wheel, dt, tread, mu, stiff, damp * stiff, room)
        grip_patch(patch, touching, memory, wheel, bristles, dt, tread, mu, room)
        for k in range(6):
            wrench[b, k] += room[k]
        total = room[6]
        wheels[wheel, W_FX] = room[0]
        wheels[wheel, W_FX + 1] = room[1]
        wheels[wheel, W_FX + 2] = room[2]
        wheels[wheel, W_NORMAL] = total
        wheels[wheel, W_TOUCH] = touching
        wheels[wheel, W_SINK] = sink
        deepest = max(deepest, sink)
        if total > 0.0:
            wheels[wheel, W_PX] = cx + room[7] / total
            wheels[wheel, W_PX + 1] = cy + room[8] / total
            wheels[wheel, W_PX + 2] = cz + room[9] / total
            update_pressure(memory, wheel, total / (touching * tyre[wheel, T_AREA]), dt)
        else:
            lowest_point(wheels, wheel, cx, cy, cz, ax, ay, az, radius)
            memory[M_PRESSURE + wheel] = 0.0
    memory[M_SINK] = max(memory[M_SINK], deepest)
