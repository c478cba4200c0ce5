"""Sampling the heightfield inside the kernels: the hottest lines of the project."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import G_BLOCK, G_INV, G_LAST_U, G_LAST_V, G_SIZE, G_TOP, G_X0, G_Y0
from sim.physics.compiled import kernel
from terrain.coarse import BLOCK
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]

LAST_CELL = 1.0e-6
"""Of a cell: how far inside the last node a point is taken, so that it has a cell to stand in."""


def ground_arrays(ground: Heightfield) -> tuple[Array, Array, Array]:
    """Heights (nx, ny), coarse map (bx, by, 2) of highest point and sharpest edge per block, header."""
    coarse = ground.coarse
    header = np.zeros(G_SIZE)
    header[G_X0], header[G_Y0] = ground.origin
    header[G_INV] = 1.0 / ground.spacing
    header[G_BLOCK] = 1.0 / (BLOCK * ground.spacing)
    header[G_TOP] = coarse[..., 0].max()
    header[G_LAST_U], header[G_LAST_V] = ground.z.shape[0] - 1, ground.z.shape[1] - 1
    return ground.z, coarse, header


@kernel
def probe(z: Array, header: Array, x: float, y: float) -> tuple[float, float, float]:
    """Height and gradient (dz/dx, dz/dy) of the bilinear surface from one look at the four nodes.

    Outside the grid the edge value continues and the gradient across that edge is zero.
    """
    u = (x - header[G_X0]) * header[G_INV]
    v = (y - header[G_Y0]) * header[G_INV]
    last_u = header[G_LAST_U]
    last_v = header[G_LAST_V]
    inside_u = 0.0 <= u <= last_u
    inside_v = 0.0 <= v <= last_v
    u = min(max(u, 0.0), last_u - LAST_CELL)
    v = min(max(v, 0.0), last_v - LAST_CELL)
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
    gx = d * header[G_INV] if inside_u else 0.0
    gy = (e_low + u * (e_high - e_low)) * header[G_INV] if inside_v else 0.0
    return a + u * d, gx, gy


@kernel
def height(z: Array, header: Array, x: float, y: float) -> float:
    """Bilinear height at (x, y), m; the compiler drops the gradient that nobody asks for."""
    h, _, _ = probe(z, header, x, y)
    return h


@kernel
def survey(coarse: Array, header: Array, x0: float, x1: float, y0: float, y1: float) -> tuple[float, float]:
    """Bounds over a rectangle from the coarse map: highest ground, m, and sharpest edge, change of slope."""
    bx, by, _ = coarse.shape
    i0 = min(max(int(math.floor((x0 - header[G_X0]) * header[G_BLOCK])), 0), bx - 1)
    i1 = min(max(int(math.floor((x1 - header[G_X0]) * header[G_BLOCK])), 0), bx - 1)
    j0 = min(max(int(math.floor((y0 - header[G_Y0]) * header[G_BLOCK])), 0), by - 1)
    j1 = min(max(int(math.floor((y1 - header[G_Y0]) * header[G_BLOCK])), 0), by - 1)
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
def crossing(
    z: Array,
    header: Array,
    ax: float,
    ay: float,
    az: float,
    dx: float,
    dy: float,
    dz: float,
    near: float,
    far: float,
    g_far: float,
    steep: float,
) -> tuple[float, float, float]:
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
            h, gx, gy = probe(z, header, ax + s * dx, ay + s * dy)
            g = h - (az + s * dz)
            if abs(g) < CLOSE:
                return s, gx, gy
            growth = gx * dx + gy * dy - dz
            if growth < 0.1:
                break
            s -= g / growth
    s = bracketed(z, header, ax, ay, az, dx, dy, dz, near, far, g_far)
    _, gx, gy = probe(z, header, ax + s * dx, ay + s * dy)
    return s, gx, gy


@kernel
def bracketed(
    z: Array,
    header: Array,
    ax: float,
    ay: float,
    az: float,
    dx: float,
    dy: float,
    dz: float,
    near: float,
    far: float,
    g_far: float,
) -> float:
    """Distance along a ray at which it enters the ground by bounded false position (Illinois rule)."""
    g_lo = height(z, header, ax + near * dx, ay + near * dy) - (az + near * dz)
    if g_lo >= 0.0:
        return near
    lo = near
    hi = far
    g_hi = g_far
    mid = hi
    for _ in range(16):
        mid = (lo * g_hi - hi * g_lo) / (g_hi - g_lo)
        g = height(z, header, ax + mid * dx, ay + mid * dy) - (az + mid * dz)
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
