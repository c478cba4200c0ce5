"""Grip of one tyre's contact patch: stiff tread elements on a carcass that all of them share.

The tread is a brush: every tip of a spoke that touches is a bristle. The brush stands on the carcass, one spring and
dashpot along the ground between rim and tread without mass of its own, so that a tread element that comes into contact
finds the carcass wound up already. Brush and carcass in series: H. B. Pacejka, Tyre and Vehicle Dynamics, ch. 3 and 7
(from memory). The carcass is taken implicitly: its motion over a step is the one whose end balances the bristles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_CARCASS, M_CARCASS_MOVE
from sim.physics.compiled import kernel
from sim.physics.tip_friction import grip_tip
from sim.physics.vector import at, plus, put

Array = NDArray[np.float64]
P_ROUND, P_ROW, P_AT, P_NORMAL, P_FORCE, P_SPEED, P_BRISTLE, P_SIZE = 0, 1, 2, 5, 8, 11, 14, 17
"""A touching spoke: which it is, place from the wheel's centre, ground's normal, elastic force on the wheel, velocity
of the wheel there, bristle so far; world axes."""


@kernel
def note_spoke(
    patch: Array,
    c: int,
    bristles: Array,
    wheel: int,
    i: int,
    j: int,
    lx: float,
    ly: float,
    lz: float,
    nx: float,
    ny: float,
    nz: float,
    fx: float,
    fy: float,
    fz: float,
    vx: float,
    vy: float,
    vz: float,
) -> None:
    """Enter a touching spoke as row ``c`` of the patch; one that has just come in has its bristle straight."""
    spoke = patch[c]
    bristle = bristles[wheel, i, j]
    if bristle[3] == 0.0:
        bristle[0] = bristle[1] = bristle[2] = 0.0
        bristle[3] = 1.0
    spoke[P_ROUND] = i
    spoke[P_ROW] = j
    spoke[P_AT] = lx
    spoke[P_AT + 1] = ly
    spoke[P_AT + 2] = lz
    spoke[P_NORMAL] = nx
    spoke[P_NORMAL + 1] = ny
    spoke[P_NORMAL + 2] = nz
    spoke[P_FORCE] = fx
    spoke[P_FORCE + 1] = fy
    spoke[P_FORCE + 2] = fz
    spoke[P_SPEED] = vx
    spoke[P_SPEED + 1] = vy
    spoke[P_SPEED + 2] = vz
    for k in range(3):
        spoke[P_BRISTLE + k] = bristle[k]


@kernel
def _bristles(
    patch: Array, count: int, mx: float, my: float, mz: float, dt: float, k: float, mu: float, sums: Array
) -> None:
    """Sum over the bristles, were the carcass to move by ``m`` (m): force on the wheel (3) and stiffness (6)."""
    sums[:] = 0.0
    for c in range(count):
        nx = patch[c, P_NORMAL]
        ny = patch[c, P_NORMAL + 1]
        nz = patch[c, P_NORMAL + 2]
        fx = patch[c, P_FORCE]
        fy = patch[c, P_FORCE + 1]
        fz = patch[c, P_FORCE + 2]
        normal = fx * nx + fy * ny + fz * nz
        if normal <= 0.0:
            continue
        ex = fx - normal * nx
        ey = fy - normal * ny
        ez = fz - normal * nz
        zx = patch[c, P_BRISTLE] + patch[c, P_SPEED] * dt + mx
        zy = patch[c, P_BRISTLE + 1] + patch[c, P_SPEED + 1] * dt + my
        zz = patch[c, P_BRISTLE + 2] + patch[c, P_SPEED + 2] * dt + mz
        zn = zx * nx + zy * ny + zz * nz
        tx = ex - k * (zx - zn * nx)
        ty = ey - k * (zy - zn * ny)
        tz = ez - k * (zz - zn * nz)
        size = tx * tx + ty * ty + tz * tz
        limit = mu * normal
        stiff = k
        along = 0.0
        if size > limit * limit:
            size = math.sqrt(size)
            stiff = k * limit / size
            # Sliding: no stiffness along the motion, only across.
            along = stiff / (limit * limit)
            tx *= limit / size
            ty *= limit / size
            tz *= limit / size
        sums[0] += tx - ex
        sums[1] += ty - ey
        sums[2] += tz - ez
        sums[3] += stiff * (1.0 - nx * nx) - along * tx * tx
        sums[4] += stiff * (1.0 - ny * ny) - along * ty * ty
        sums[5] += stiff * (1.0 - nz * nz) - along * tz * tz
        sums[6] -= stiff * nx * ny + along * tx * ty
        sums[7] -= stiff * nx * nz + along * tx * tz
        sums[8] -= stiff * ny * nz + along * ty * tz


@kernel
def move_carcass(
    patch: Array, count: int, memory: Array, wheel: int, dt: float, k: float, mu: float, carcass: float, damping: float,
    sums: Array,
) -> None:  # fmt: skip
    """Find how the carcass moves along with this step and keep place and motion in the memory.

    One Newton step from the last step's motion; a second changes no limit by a thousandth.

    ``k``: one bristle, N/m; ``carcass`` N/m and ``damping`` N s/m between rim and tread. ``sums`` (9,) is room to work.
    """
    at = M_CARCASS + 3 * wheel
    last = M_CARCASS_MOVE + 3 * wheel
    mx = memory[last]
    my = memory[last + 1]
    mz = memory[last + 2]
    own = carcass + (damping / dt if dt > 0.0 else 0.0)
    _bristles(patch, count, mx, my, mz, dt, k, mu, sums)
    # What is out of balance at the end of the step.
    gx = sums[0] - carcass * memory[at] - own * mx
    gy = sums[1] - carcass * memory[at + 1] - own * my
    gz = sums[2] - carcass * memory[at + 2] - own * mz
    a = sums[3] + own
    b = sums[4] + own
    c = sums[5] + own
    d = sums[6]
    e = sums[7]
    f = sums[8]
    # Symmetric 3 x 3 by cofactors.
    caa = b * c - f * f
    cab = e * f - d * c
    cac = d * f - b * e
    cbb = a * c - e * e
    cbc = d * e - a * f
    ccc = a * b - d * d
    inv = 1.0 / (a * caa + d * cab + e * cac)
    mx += inv * (caa * gx + cab * gy + cac * gz)
    my += inv * (cab * gx + cbb * gy + cbc * gz)
    mz += inv * (cac * gx + cbc * gy + ccc * gz)
    memory[last] = mx
    memory[last + 1] = my
    memory[last + 2] = mz
    memory[at] += mx
    memory[at + 1] += my
    memory[at + 2] += mz


@kernel
def grip_patch(
    patch: Array, count: int, memory: Array, wheel: int, bristles: Array, dt: float, k: float, mu: float, total: Array
) -> None:
    """Add friction to every touching spoke and sum the wheel's load.

    ``total`` (10,): force (3), moment about the centre (3), sum of normal forces, and of normal force times place (3).
    """
    last = M_CARCASS_MOVE + 3 * wheel
    share = 1.0 / dt if dt > 0.0 else 0.0
    bx = memory[last] * share
    by = memory[last + 1] * share
    bz = memory[last + 2] * share
    total[:] = 0.0
    for c in range(count):
        force, normal, bristle = grip_tip(
            at(patch, c, P_BRISTLE), at(patch, c, P_FORCE), at(patch, c, P_NORMAL),
            plus(at(patch, c, P_SPEED), (bx, by, bz)), dt, k, 0.0, mu,
        )  # fmt: skip
        kx, ky, kz = force
        i = int(patch[c, P_ROUND])
        j = int(patch[c, P_ROW])
        put(bristles[wheel, i, j], 0, bristle)
        lx = patch[c, P_AT]
        ly = patch[c, P_AT + 1]
        lz = patch[c, P_AT + 2]
        total[0] += kx
        total[1] += ky
        total[2] += kz
        total[3] += ly * kz - lz * ky
        total[4] += lz * kx - lx * kz
        total[5] += lx * ky - ly * kx
        total[6] += normal
        total[7] += normal * lx
        total[8] += normal * ly
        total[9] += normal * lz
