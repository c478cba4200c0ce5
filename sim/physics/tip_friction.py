"""Friction at the tip of a tyre spoke or hull feeler: a bristle that is held inside the friction cone."""

from __future__ import annotations

import math

from sim.physics.compiled import kernel


@kernel
def grip_tip(
    zx: float,
    zy: float,
    zz: float,
    fx: float,
    fy: float,
    fz: float,
    nx: float,
    ny: float,
    nz: float,
    vx: float,
    vy: float,
    vz: float,
    dt: float,
    stiffness: float,
    damping: float,
    mu: float,
) -> tuple[float, float, float, float, float, float, float]:
    """Add friction to an elastic contact force and hold the sum inside the cone.

    ``z`` is the tip's deflection along the ground so far, ``f`` the elastic force on the body, ``n`` the ground's unit
    normal, ``v`` the body's velocity at the contact; all in the world. Returns the total force (3), its normal part
    and the new deflection (3).
    """
    normal = fx * nx + fy * ny + fz * nz
    if normal <= 0.0:
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    vn = vx * nx + vy * ny + vz * nz
    sx = vx - vn * nx
    sy = vy - vn * ny
    sz = vz - vn * nz
    zx += sx * dt
    zy += sy * dt
    zz += sz * dt
    zn = zx * nx + zy * ny + zz * nz
    zx -= zn * nx
    zy -= zn * ny
    zz -= zn * nz
    ex = fx - normal * nx
    ey = fy - normal * ny
    ez = fz - normal * nz
    tx = ex - stiffness * zx - damping * sx
    ty = ey - stiffness * zy - damping * sy
    tz = ez - stiffness * zz - damping * sz
    size = tx * tx + ty * ty + tz * tz
    limit = mu * normal
    if size > limit * limit:
        ratio = limit / math.sqrt(size)
        tx *= ratio
        ty *= ratio
        tz *= ratio
        # The spring keeps what the dashpot does not carry, but never pulls the other way.
        tension = 1.0 / stiffness
        gx = ex - tx
        gy = ey - ty
        gz = ez - tz
        zx = gx - damping * sx
        zy = gy - damping * sy
        zz = gz - damping * sz
        if zx * gx + zy * gy + zz * gz < 0.0:
            tension = 0.0
        zx *= tension
        zy *= tension
        zz *= tension
    return normal * nx + tx, normal * ny + ty, normal * nz + tz, normal, zx, zy, zz
