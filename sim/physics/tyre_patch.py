"""Grip of one tyre's contact patch: stiff tread elements on a carcass that all of them share.

The tread is a brush: every tread element that carries load is a bristle. The brush stands on the carcass, one spring
and dashpot along the ground between rim and tread without mass of its own, so that a tread element that comes into
contact finds the carcass wound up already. Brush and carcass in series: H. B. Pacejka, Tyre and Vehicle Dynamics, ch. 3
and 7 (from memory). The carcass is taken implicitly: its motion over a step is the one whose end balances the bristles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import TyreRing
from sim.physics.arrays import M_CARCASS, M_CARCASS_MOVE, places
from sim.physics.compiled import kernel
from sim.physics.tip_friction import grip_tip
from sim.physics.tyre_pressure import L_AREA, L_FORCE, L_NORMAL, L_PLACE, L_SIZE
from sim.physics.vector import Vec, add, at, cross, dot, minus, over, plus, plus_cross, put, put_at, size, times, vec

Array = NDArray[np.float64]
# A loaded tread element: which it is, place from the wheel's centre, direction and size of its load, how much of a
# whole element lies on the ground, velocity of the wheel there, bristle so far; world axes.
P_ROUND, P_ROW, P_AT, P_NORMAL, P_LOAD, P_SHARE, P_SPEED, P_BRISTLE, P_SIZE = places(1, 1, 3, 3, 1, 1, 3, 3)


def tread_arrays(tyre: TyreRing) -> tuple[Array, Array, Array]:
    """Bristles of four wheels, and room for one wheel's load by tread element and for its patch; all empty."""
    n, rows = tyre.n_round, len(tyre.row_y)
    return np.zeros((4, n, rows + 1, 4)), np.zeros((n, rows, L_SIZE)), np.zeros((n * rows + 1, P_SIZE))


@kernel
def touch_down(
    patch: Array, bristles: Array, wheel: int, load: Array, first: int, last: int, velocity: Vec, spin: Vec,
    whole_area: float,
) -> int:  # fmt: skip
    """List the loaded elements in the patch, empty ``load``, and straighten the bristles of those that do not touch.

    ``first`` and ``last``: tread elements around the wheel between which the load lies, up to one turn to either side.
    """
    n_round, rows, _ = load.shape
    count = 0
    for k in range(first, min(last + 1, first + n_round)):
        i = k % n_round
        for j in range(rows):
            normal = load[i, j, L_NORMAL]
            if normal <= 0.0:
                load[i, j, L_AREA] = 0.0  # ground that the tyre leaves faster than it can follow
                continue
            force = load[i, j, L_FORCE], load[i, j, L_FORCE + 1], load[i, j, L_FORCE + 2]
            carried = size(force)
            if bristles[wheel, i, j, 3] == 0.0:
                bristles[wheel, i, j, 0] = bristles[wheel, i, j, 1] = bristles[wheel, i, j, 2] = 0.0
            bristles[wheel, i, j, 3] = 2.0
            place = over((load[i, j, L_PLACE], load[i, j, L_PLACE + 1], load[i, j, L_PLACE + 2]), normal)
            patch[count, P_ROUND] = i
            patch[count, P_ROW] = j
            put_at(patch, count, P_AT, place)
            put_at(patch, count, P_NORMAL, over(force, max(carried, 1.0e-300)))
            patch[count, P_LOAD] = carried
            patch[count, P_SHARE] = load[i, j, L_AREA] / whole_area
            put_at(patch, count, P_SPEED, plus_cross(velocity, spin, place))
            for c in range(3):
                patch[count, P_BRISTLE + c] = bristles[wheel, i, j, c]
            for c in range(load.shape[2]):
                load[i, j, c] = 0.0
            count += 1
    lift_off(bristles, wheel)
    bristles[wheel, 0, rows, 0] = first
    bristles[wheel, 0, rows, 1] = min(last + 1, first + n_round)
    return count


@kernel
def empty(load: Array, first: int, last: int) -> None:
    """Forget the area of a tyre whose whole ground it leaves faster than it can follow: it carries nothing."""
    n_round, rows, _ = load.shape
    for k in range(first, min(last + 1, first + n_round)):
        for j in range(rows):
            load[k % n_round, j, L_AREA] = 0.0


@kernel
def lift_off(bristles: Array, wheel: int) -> int:
    """Straighten the bristles that touched a step ago and do so no more; returns that nothing touches."""
    _, n_round, rows, _ = bristles.shape
    rows -= 1
    for k in range(int(bristles[wheel, 0, rows, 0]), int(bristles[wheel, 0, rows, 1])):
        i = k % n_round
        for j in range(rows):
            bristles[wheel, i, j, 3] = 1.0 if bristles[wheel, i, j, 3] == 2.0 else 0.0
    bristles[wheel, 0, rows, 1] = bristles[wheel, 0, rows, 0]
    return 0


@kernel
def _bristles(patch: Array, count: int, move: Vec, dt: float, tread: float, mu: float, sums: Array) -> None:
    """Sum over the bristles, were the carcass to move by ``move`` (m): force on the wheel (3) and stiffness (6)."""
    sums[:] = 0.0
    for c in range(count):
        normal = at(patch, c, P_NORMAL)
        k = tread * patch[c, P_SHARE]
        z = plus(plus(at(patch, c, P_BRISTLE), times(dt, at(patch, c, P_SPEED))), move)
        t = times(-k, minus(z, times(dot(z, normal), normal)))
        square = dot(t, t)
        limit = mu * patch[c, P_LOAD]
        stiff = k
        along = 0.0
        if square > limit * limit:
            stiff = k * limit / math.sqrt(square)
            # Sliding: no stiffness along the motion, only across.
            along = stiff / max(limit * limit, 1.0e-300)
            t = times(limit / math.sqrt(square), t)
        nx, ny, nz = normal
        add(sums, 0, t)
        sums[3] += stiff * (1.0 - nx * nx) - along * t[0] * t[0]
        sums[4] += stiff * (1.0 - ny * ny) - along * t[1] * t[1]
        sums[5] += stiff * (1.0 - nz * nz) - along * t[2] * t[2]
        sums[6] -= stiff * nx * ny + along * t[0] * t[1]
        sums[7] -= stiff * nx * nz + along * t[0] * t[2]
        sums[8] -= stiff * ny * nz + along * t[1] * t[2]


@kernel
def solve_symmetric(a: float, b: float, c: float, d: float, e: float, f: float, g: Vec) -> Vec:
    """Solution of a symmetric 3 x 3 system by cofactors: diagonal a, b, c, off it d (xy), e (xz), f (yz)."""
    caa = b * c - f * f
    cab = e * f - d * c
    cac = d * f - b * e
    cbb = a * c - e * e
    cbc = d * e - a * f
    ccc = a * b - d * d
    inv = 1.0 / (a * caa + d * cab + e * cac)
    return times(inv, (dot((caa, cab, cac), g), dot((cab, cbb, cbc), g), dot((cac, cbc, ccc), g)))


@kernel
def move_carcass(
    patch: Array, count: int, memory: Array, wheel: int, dt: float, tread: float, mu: float, carcass: float,
    damping: float, sums: Array,
) -> None:  # fmt: skip
    """Find how the carcass moves along with this step and keep place and motion in the memory.

    One Newton step from the last step's motion; a second changes no limit by a thousandth.

    ``tread``: one whole bristle, N/m; ``carcass`` N/m and ``damping`` N s/m between rim and tread. ``sums`` (9,) is
    room to work.
    """
    here = M_CARCASS + 3 * wheel
    last = M_CARCASS_MOVE + 3 * wheel
    move = vec(memory, last)
    own = carcass + (damping / dt if dt > 0.0 else 0.0)
    _bristles(patch, count, move, dt, tread, mu, sums)
    # What is out of balance at the end of the step.
    left = minus(minus(vec(sums, 0), times(carcass, vec(memory, here))), times(own, move))
    move = plus(move, solve_symmetric(sums[3] + own, sums[4] + own, sums[5] + own, sums[6], sums[7], sums[8], left))
    put(memory, last, move)
    add(memory, here, move)


@kernel
def grip_patch(
    patch: Array, count: int, memory: Array, wheel: int, bristles: Array, dt: float, tread: float, mu: float,
    total: Array,
) -> None:  # fmt: skip
    """Let every loaded element grip; ``total`` (6,) gets the friction on the wheel: force, moment about the centre."""
    carcass_speed = times(1.0 / dt if dt > 0.0 else 0.0, vec(memory, M_CARCASS_MOVE + 3 * wheel))
    total[:] = 0.0
    for c in range(count):
        normal = at(patch, c, P_NORMAL)
        elastic = times(patch[c, P_LOAD], normal)
        force, _, bristle = grip_tip(
            at(patch, c, P_BRISTLE), elastic, normal, plus(at(patch, c, P_SPEED), carcass_speed), dt,
            tread * patch[c, P_SHARE], 0.0, mu,
        )  # fmt: skip
        i = int(patch[c, P_ROUND])
        j = int(patch[c, P_ROW])
        for k in range(3):
            bristles[wheel, i, j, k] = bristle[k]
        friction = minus(force, elastic)
        add(total, 0, friction)
        add(total, 3, cross(at(patch, c, P_AT), friction))
