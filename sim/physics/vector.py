"""Small vector algebra for the kernels, on scalars so that nothing is allocated."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel

Array = NDArray[np.float64]


@kernel
def rotation_from_quaternion(x: float, y: float, z: float, w: float, out: Array) -> None:
    """Write the (3, 3) rotation matrix of a unit quaternion."""
    out[0, 0] = 1.0 - 2.0 * (y * y + z * z)
    out[0, 1] = 2.0 * (x * y - z * w)
    out[0, 2] = 2.0 * (x * z + y * w)
    out[1, 0] = 2.0 * (x * y + z * w)
    out[1, 1] = 1.0 - 2.0 * (x * x + z * z)
    out[1, 2] = 2.0 * (y * z - x * w)
    out[2, 0] = 2.0 * (x * z - y * w)
    out[2, 1] = 2.0 * (y * z + x * w)
    out[2, 2] = 1.0 - 2.0 * (x * x + y * y)


@kernel
def rotate_about(parent: Array, ax: float, ay: float, az: float, angle: float, out: Array) -> None:
    """Write ``parent @ Rot(axis, angle)`` for a unit axis (Rodrigues)."""
    c = math.cos(angle)
    s = math.sin(angle)
    t = 1.0 - c
    r00 = t * ax * ax + c
    r01 = t * ax * ay - s * az
    r02 = t * ax * az + s * ay
    r10 = t * ax * ay + s * az
    r11 = t * ay * ay + c
    r12 = t * ay * az - s * ax
    r20 = t * ax * az - s * ay
    r21 = t * ay * az + s * ax
    r22 = t * az * az + c
    for i in range(3):
        a = parent[i, 0]
        b = parent[i, 1]
        d = parent[i, 2]
        out[i, 0] = a * r00 + b * r10 + d * r20
        out[i, 1] = a * r01 + b * r11 + d * r21
        out[i, 2] = a * r02 + b * r12 + d * r22


@kernel
def add_wrench(
    wrench: Array, body: int, origin: Array, px: float, py: float, pz: float, fx: float, fy: float, fz: float
) -> None:
    """Add a force acting at a world point to a body's wrench row (force, moment about its origin)."""
    rx = px - origin[body, 0]
    ry = py - origin[body, 1]
    rz = pz - origin[body, 2]
    wrench[body, 0] += fx
    wrench[body, 1] += fy
    wrench[body, 2] += fz
    wrench[body, 3] += ry * fz - rz * fy
    wrench[body, 4] += rz * fx - rx * fz
    wrench[body, 5] += rx * fy - ry * fx
