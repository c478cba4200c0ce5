"""Small vector algebra for the kernels. Vectors are tuples of three, so that nothing is allocated."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel

Array = NDArray[np.float64]
Vec = tuple[float, float, float]


@kernel
def vec(row: Array, k: int) -> Vec:
    """Three entries of a row from place ``k`` on."""
    return row[k], row[k + 1], row[k + 2]


@kernel
def at(table: Array, b: int, k: int = 0) -> Vec:
    """Three entries of row ``b`` of a table from place ``k`` on; no view is made, which would count references."""
    return table[b, k], table[b, k + 1], table[b, k + 2]


@kernel
def put_at(table: Array, b: int, k: int, v: Vec) -> None:
    """Write a vector into row ``b`` of a table from place ``k`` on."""
    table[b, k] = v[0]
    table[b, k + 1] = v[1]
    table[b, k + 2] = v[2]


@kernel
def add_at(table: Array, b: int, k: int, v: Vec) -> None:
    """Add a vector to row ``b`` of a table from place ``k`` on."""
    table[b, k] += v[0]
    table[b, k + 1] += v[1]
    table[b, k + 2] += v[2]


@kernel
def put(row: Array, k: int, v: Vec) -> None:
    """Write a vector into a row from place ``k`` on."""
    row[k] = v[0]
    row[k + 1] = v[1]
    row[k + 2] = v[2]


@kernel
def add(row: Array, k: int, v: Vec) -> None:
    """Add a vector to a row from place ``k`` on."""
    row[k] += v[0]
    row[k + 1] += v[1]
    row[k + 2] += v[2]


@kernel
def plus(a: Vec, b: Vec) -> Vec:
    """Sum."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


@kernel
def minus(a: Vec, b: Vec) -> Vec:
    """Difference."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@kernel
def times(s: float, a: Vec) -> Vec:
    """Vector s times as long."""
    return s * a[0], s * a[1], s * a[2]


@kernel
def over(a: Vec, s: float) -> Vec:
    """Vector divided by s."""
    return a[0] / s, a[1] / s, a[2] / s


@kernel
def dot(a: Vec, b: Vec) -> float:
    """Inner product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel
def cross(a: Vec, b: Vec) -> Vec:
    """Vector product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@kernel
def plus_cross(v: Vec, a: Vec, b: Vec) -> Vec:
    """``v + a x b``: velocity of a point of a body, moment about another point."""
    return v[0] + a[1] * b[2] - a[2] * b[1], v[1] + a[2] * b[0] - a[0] * b[2], v[2] + a[0] * b[1] - a[1] * b[0]


@kernel
def size(a: Vec) -> float:
    """Length."""
    return math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])


@kernel
def turn(r: Array, v: Vec) -> Vec:
    """``r @ v``: a vector of a body in the world."""
    return (
        r[0, 0] * v[0] + r[0, 1] * v[1] + r[0, 2] * v[2],
        r[1, 0] * v[0] + r[1, 1] * v[1] + r[1, 2] * v[2],
        r[2, 0] * v[0] + r[2, 1] * v[1] + r[2, 2] * v[2],
    )


@kernel
def turn_at(r: Array, b: int, v: Vec) -> Vec:
    """``r[b] @ v``: a vector of body ``b`` in the world; no view is made, which would count references."""
    return (
        r[b, 0, 0] * v[0] + r[b, 0, 1] * v[1] + r[b, 0, 2] * v[2],
        r[b, 1, 0] * v[0] + r[b, 1, 1] * v[1] + r[b, 1, 2] * v[2],
        r[b, 2, 0] * v[0] + r[b, 2, 1] * v[1] + r[b, 2, 2] * v[2],
    )


@kernel
def upward(gx: float, gy: float) -> Vec:
    """Unit normal of ground with this gradient."""
    inv = 1.0 / math.sqrt(1.0 + gx * gx + gy * gy)
    return -gx * inv, -gy * inv, inv


@kernel
def rotation_from_quaternion(x: float, y: float, z: float, w: float, out: Array) -> None:
    """Write the (3, 3) rotation matrix of a unit quaternion."""
    put_at(out, 0, 0, (1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - z * w), 2.0 * (x * z + y * w)))
    put_at(out, 1, 0, (2.0 * (x * y + z * w), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - x * w)))
    put_at(out, 2, 0, (2.0 * (x * z - y * w), 2.0 * (y * z + x * w), 1.0 - 2.0 * (x * x + y * y)))


@kernel
def rotate_about(parent: Array, axis: Vec, angle: float, out: Array) -> None:
    """Write ``parent @ Rot(axis, angle)`` for a unit axis (Rodrigues)."""
    x, y, z = axis
    c = math.cos(angle)
    s = math.sin(angle)
    t = 1.0 - c
    first = t * x * x + c, t * x * y + s * z, t * x * z - s * y
    second = t * x * y - s * z, t * y * y + c, t * y * z + s * x
    third = t * x * z + s * y, t * y * z - s * x, t * z * z + c
    for i in range(3):
        row = parent[i, 0], parent[i, 1], parent[i, 2]
        put_at(out, i, 0, (dot(row, first), dot(row, second), dot(row, third)))


@kernel
def add_wrench(wrench: Array, body: int, origin: Array, point: Vec, force: Vec) -> None:
    """Add a force acting at a world point to a body's wrench row (force, moment about its origin)."""
    add_at(wrench, body, 0, force)
    add_at(wrench, body, 3, cross(minus(point, at(origin, body)), force))


@kernel
def around(ahead: float, down: float) -> float:
    """Angle (rad) from straight down, forward positive, within 0.005: enough to share a load between tread elements."""
    if abs(ahead) <= down:
        t = ahead / down
        return t * (0.97239411 - 0.19194795 * t * t)
    if abs(ahead) >= -down:
        t = down / ahead
        return (0.5 * math.pi if ahead > 0.0 else -0.5 * math.pi) - t * (0.97239411 - 0.19194795 * t * t)
    # Above the axle.
    t = ahead / down
    return t * (0.97239411 - 0.19194795 * t * t) + (math.pi if ahead > 0.0 else -math.pi)
