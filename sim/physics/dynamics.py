"""Forward dynamics of the tree: accelerations from forces, by composite inertias and a sparse factorisation.

Composite rigid body and Newton-Euler recursions and the factorisation that fills no zero of a tree's mass matrix:
R. Featherstone, Rigid Body Dynamics Algorithms (Springer 2008), ch. 5, 6 and 8 (from memory). All bodies are taken in
world axes about one point, the base point, so that composites are plain sums and nothing is transformed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT, PARENTS
from sim.physics.arrays import O_TAU, S_POS, S_QD, Bodies, Motion, places
from sim.physics.compiled import kernel
from sim.physics.vector import Vec, add, at, cross, dot, minus, plus, plus_cross, put, put_at, times, turn, vec

Array = NDArray[np.float64]
BODIES = len(PARENTS)
FREEDOMS = 6 + JOINT_COUNT
PARENT = np.array(PARENTS, dtype=np.int64)
ABOVE = np.array(
    [-1, 0, 1, 2, 3, 4, *(5 if p == 0 else 5 + p for p in PARENTS[1:])],
    dtype=np.int64,
)
"""The freedom that carries each freedom: velocity and angular velocity of the base (0 to 5), then the joints."""

# One row of work per body, world axes: mass, first moment and inertia (xx, yy, zz, xy, xz, yz) of it and all it carries
# about the base point; force and torque that their motion takes besides the freedoms' own accelerations; angular
# velocity of the joint at unit speed and the velocity that gives the base point; angular acceleration and acceleration
# of the origin with all freedoms' at zero.
C_MASS, C_MOMENT, C_INERTIA, C_FORCE, C_TORQUE, C_TURN, C_SLIDE, C_ALPHA, C_ACC, C_SIZE = places(
    1, 3, 6, 3, 3, 3, 3, 3, 3
)


@kernel
def mass_matrix_and_bias(
    state: Array, body: Bodies, motion: Motion, gravity: Array, work: Array, matrix: Array, bias: Array
) -> None:
    """Fill the lower triangle of the mass matrix (16, 16) and the bias force (16,) from this step's kinematics.

    Freedoms: the base point's velocity and the base's angular velocity in the world, then joint speeds. The bias is
    what weight and velocities take: ``matrix @ acceleration + bias = force``. ``work`` is (11, C_SIZE).
    """
    _single_bodies(state, body, motion, gravity, work)
    for b in range(BODIES - 1, 0, -1):
        p = PARENT[b]
        for k in range(C_TURN):
            work[p, k] += work[b, k]
    whole = work[0]
    hx, hy, hz = vec(whole, C_MOMENT)
    for i in range(6):
        for j in range(i):
            matrix[i, j] = 0.0
    for i in range(3):
        matrix[i, i] = whole[C_MASS]
        matrix[3 + i, 3 + i] = whole[C_INERTIA + i]
        bias[i] = whole[C_FORCE + i]
        bias[3 + i] = whole[C_TORQUE + i]
    # Angular momentum of a velocity v: moment x v.
    matrix[3, 1] = -hz
    matrix[3, 2] = hy
    matrix[4, 0] = hz
    matrix[4, 2] = -hx
    matrix[5, 0] = -hy
    matrix[5, 1] = hx
    matrix[4, 3], matrix[5, 3], matrix[5, 4] = vec(whole, C_INERTIA + 3)
    for b in range(1, BODIES):
        _joint_row(work, matrix, bias, b)


@kernel
def _centripetal(w: Vec, d: Vec) -> Vec:
    """``w x (w x d)``."""
    return minus(times(dot(w, d), w), times(dot(w, w), d))


@kernel
def _acceleration_at(a: Vec, alpha: Vec, w: Vec, d: Vec) -> Vec:
    """Acceleration of a point at ``d`` from one that accelerates by ``a``: ``a + alpha x d + w x (w x d)``."""
    return minus(plus(plus_cross(a, alpha, d), times(dot(w, d), w)), times(dot(w, w), d))


@kernel
def _times_inertia(table: Array, b: int, k: int, v: Vec) -> Vec:
    """Symmetric matrix xx, yy, zz, xy, xz, yz, in row ``b`` from place ``k`` on, times a vector."""
    xx, yy, zz = at(table, b, k)
    xy, xz, yz = at(table, b, k + 3)
    return xx * v[0] + xy * v[1] + xz * v[2], xy * v[0] + yy * v[1] + yz * v[2], xz * v[0] + yz * v[1] + zz * v[2]


@kernel
def _turned_inertia(r: Array, inertia: Array, b: int) -> tuple[Vec, Vec]:
    """``R I R^T``: diagonal, and xy, xz, yz."""
    first, second, third = at(r, 0), at(r, 1), at(r, 2)
    row = _times_inertia(inertia, b, 0, first)
    xx, xy, xz = dot(row, first), dot(row, second), dot(row, third)
    row = _times_inertia(inertia, b, 0, second)
    yy, yz = dot(row, second), dot(row, third)
    return (xx, yy, dot(_times_inertia(inertia, b, 0, third), third)), (xy, xz, yz)


@kernel
def _single_bodies(state: Array, body: Bodies, motion: Motion, gravity: Array, work: Array) -> None:
    """Fill every body's own row of ``work``: inertia about the base point, bias force, joint motion, accelerations."""
    base = vec(state, S_POS)
    for b in range(BODIES):
        row = work[b]
        place = minus(at(motion.origin, b), base)
        if b == 0:
            # The base point does not accelerate: the origin does by turning about it.
            w = at(motion.spin, 0)
            alpha = acceleration = (0.0, 0.0, 0.0)
            arm = place
        else:
            p = PARENT[b]
            axis = turn(motion.rotation[p], at(body.axis, b))
            w = at(motion.spin, p)
            turning = times(state[S_QD + b - 1], cross(w, axis))  # the axis turns with its parent
            alpha = at(work, p, C_ALPHA)
            arm = minus(place, minus(at(motion.origin, p), base))
            acceleration = plus_cross(at(work, p, C_ACC), alpha, arm)
            if body.prismatic[b]:
                put(row, C_TURN, (0.0, 0.0, 0.0))
                put(row, C_SLIDE, axis)
                acceleration = plus(acceleration, times(2.0, turning))
            else:
                put(row, C_TURN, axis)
                put(row, C_SLIDE, cross(place, axis))
                alpha = plus(alpha, turning)
        # With the parent's spin, with which the joint's place turns.
        acceleration = plus(acceleration, _centripetal(w, arm))
        put(row, C_ALPHA, alpha)
        put(row, C_ACC, acceleration)
        to_centre = turn(motion.rotation[b], at(body.com, b))
        w = at(motion.spin, b)
        m = body.mass[b]
        force = times(m, minus(_acceleration_at(acceleration, alpha, w, to_centre), vec(gravity, 0)))
        centre = plus(place, to_centre)
        diagonal, products = _turned_inertia(motion.rotation[b], body.inertia, b)
        put(row, C_INERTIA, diagonal)
        put(row, C_INERTIA + 3, products)
        # Torque about the base point: J alpha + w x J w + c x f.
        momentum = _times_inertia(work, b, C_INERTIA, w)
        taken = _times_inertia(work, b, C_INERTIA, alpha)
        put(row, C_TORQUE, plus_cross(plus_cross(taken, w, momentum), centre, force))
        put(row, C_FORCE, force)
        row[C_MASS] = m
        put(row, C_MOMENT, times(m, centre))
        x, y, z = centre
        add(row, C_INERTIA, (m * (y * y + z * z), m * (x * x + z * z), m * (x * x + y * y)))
        add(row, C_INERTIA + 3, (-(m * x * y), -(m * x * z), -(m * y * z)))


@kernel
def _power(turning: Vec, moment: Vec, velocity: Vec, force: Vec) -> float:
    """Power of a wrench in a motion."""
    return (
        turning[0] * moment[0] + turning[1] * moment[1] + turning[2] * moment[2]
        + velocity[0] * force[0] + velocity[1] * force[1] + velocity[2] * force[2]
    )  # fmt: skip


@kernel
def _joint_row(work: Array, matrix: Array, bias: Array, b: int) -> None:
    """One joint's row of the mass matrix: momentum that it gives to all it carries, felt by every freedom above."""
    row = work[b]
    turning = vec(row, C_TURN)
    slide = vec(row, C_SLIDE)
    moment = vec(row, C_MOMENT)
    momentum = plus_cross(times(row[C_MASS], slide), turning, moment)
    angular = plus_cross(_times_inertia(work, b, C_INERTIA, turning), moment, slide)
    i = 5 + b
    put_at(matrix, i, 0, momentum)
    put_at(matrix, i, 3, angular)
    a = b
    while a > 0:
        matrix[i, 5 + a] = _power(at(work, a, C_TURN), angular, at(work, a, C_SLIDE), momentum)
        a = PARENT[a]
    bias[i] = _power(turning, vec(row, C_TORQUE), slide, vec(row, C_FORCE))


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
    state: Array, out: Array, body: Bodies, motion: Motion, gravity: Array, work: Array, matrix: Array, result: Array
) -> None:
    """Accelerations (16,) of the freedoms under the generalised forces ``out`` and gravity (3,), world axes."""
    mass_matrix_and_bias(state, body, motion, gravity, work, matrix, result)
    for k in range(FREEDOMS):
        result[k] = out[k] - result[k]
    solve(matrix, result)


assert O_TAU == 6  # forces come in the order of the freedoms
