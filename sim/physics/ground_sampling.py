"""Sampling the heightfield inside the kernels: the hottest lines of the project."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.physics.compiled import kernel
from sim.physics.vector import Vec, dot
from terrain.coarse import BLOCK
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]

LAST_CELL = 1.0e-6
"""Of a cell: how far inside the last node a point is taken, so that it has a cell to stand in."""


class Ground(NamedTuple):
    """A height field as the kernels read it."""

    z: Array
    """(nx, ny)."""
    coarse: Array
    """(bx, by, 2) highest point and sharpest edge per block."""
    x0: float
    y0: float
    per_cell: float
    """One over the spacing."""
    per_block: float
    top: float
    """Highest point of all."""
    last_u: float
    last_v: float
    """Index of the last node along x and y, as numbers."""


def ground_arrays(ground: Heightfield) -> Ground:
    """Take what the kernels need of a height field."""
    coarse = ground.coarse
    return Ground(
        ground.z, coarse, float(ground.origin[0]), float(ground.origin[1]), 1.0 / ground.spacing,
        1.0 / (BLOCK * ground.spacing), float(coarse[..., 0].max()),
        float(ground.z.shape[0] - 1), float(ground.z.shape[1] - 1),
    )  # fmt: skip


@kernel
def probe(ground: Ground, x: float, y: float) -> Vec:
    """Height and gradient (dz/dx, dz/dy) of the bilinear surface from one look at the four nodes.

    Outside the grid the edge value continues and the gradient across that edge is zero.
    """
    z = ground.z
    u = (x - ground.x0) * ground.per_cell
    v = (y - ground.y0) * ground.per_cell
    inside_u = 0.0 <= u <= ground.last_u
    inside_v = 0.0 <= v <= ground.last_v
    u = min(max(u, 0.0), ground.last_u - LAST_CELL)
    v = min(max(v, 0.0), ground.last_v - LAST_CELL)
    i = int(u)
    j = int(v)
    u -= i
    v -= j
    z00 = z[i, j]
    e_low = z[i, j + 1] - z00
    z10 = z[i + 1, j]
    e_high = z[i + 1, j + 1] - z10
    a = z00 + v * e_low
    d = z10 + v * e_high - a
    gx = d * ground.per_cell if inside_u else 0.0
    gy = (e_low + u * (e_high - e_low)) * ground.per_cell if inside_v else 0.0
    return a + u * d, gx, gy


@kernel
def height(ground: Ground, x: float, y: float) -> float:
    """Bilinear height at (x, y), m; the compiler drops the gradient that nobody asks for."""
    h, _, _ = probe(ground, x, y)
    return h


@kernel
def _block(at: float, start: float, per_block: float, count: int) -> int:
    """Block of the coarse map along one axis, the last one beyond the edges."""
    return min(max(int(math.floor((at - start) * per_block)), 0), count - 1)


@kernel
def survey(ground: Ground, x0: float, x1: float, y0: float, y1: float) -> tuple[float, float]:
    """Bounds over a rectangle from the coarse map: highest ground, m, and sharpest edge, change of slope."""
    coarse = ground.coarse
    bx, by, _ = coarse.shape
    i0 = _block(x0, ground.x0, ground.per_block, bx)
    i1 = _block(x1, ground.x0, ground.per_block, bx)
    j0 = _block(y0, ground.y0, ground.per_block, by)
    j1 = _block(y1, ground.y0, ground.per_block, by)
    highest = coarse[i0, j0, 0]
    sharpest = coarse[i0, j0, 1]
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            highest = max(highest, coarse[i, j, 0])
            sharpest = max(sharpest, coarse[i, j, 1])
    return highest, sharpest


CLOSE = 1.0e-7
"""m; a crossing is found when ray and ground are this near: a ten-thousandth of a tyre's deflection."""


@kernel
def _over(ground: Ground, a: Vec, d: Vec, s: float) -> float:
    """Ground minus ray height at a distance along a ray."""
    return height(ground, a[0] + s * d[0], a[1] + s * d[1]) - (a[2] + s * d[2])


@kernel
def crossing(ground: Ground, a: Vec, d: Vec, near: float, far: float, g_far: float, steep: float) -> Vec:
    """Distance along a ray at which it enters the ground, between ``near`` and ``far``, and the gradient there.

    ``g_far`` is ground minus ray height at ``far`` (positive), ``steep`` its growth along the ray there. Two Newton
    steps settle it wherever the ground is nearly plane along the ray, which is nearly everywhere; a bracketed search
    does the edges. Returns ``near`` when the ray is under ground there too.
    """
    if steep > 0.1:
        s = far - g_far / steep
        for _ in range(2):
            if not near < s < far:
                break
            h, gx, gy = probe(ground, a[0] + s * d[0], a[1] + s * d[1])
            g = h - (a[2] + s * d[2])
            if abs(g) < CLOSE:
                return s, gx, gy
            growth = dot((gx, gy, -1.0), d)
            if growth < 0.1:
                break
            s -= g / growth
    s = bracketed(ground, a, d, near, far, g_far)
    _, gx, gy = probe(ground, a[0] + s * d[0], a[1] + s * d[1])
    return s, gx, gy


@kernel
def bracketed(ground: Ground, a: Vec, d: Vec, near: float, far: float, g_far: float) -> float:
    """Distance along a ray at which it enters the ground by bounded false position (Illinois rule)."""
    g_lo = _over(ground, a, d, near)
    if g_lo >= 0.0:
        return near
    lo = near
    hi = far
    g_hi = g_far
    mid = hi
    for _ in range(48):
        mid = (lo * g_hi - hi * g_lo) / (g_hi - g_lo)
        g = _over(ground, a, d, mid)
        if abs(g) < CLOSE or hi - lo < CLOSE:
            break
        if g > 0.0:
            hi = mid
            g_hi = g
            g_lo *= 0.5
        else:
            lo = mid
            g_lo = g
            g_hi *= 0.5
    return mid
