"""Time steps of the truck in one compiled call: forces, accelerations, speeds, places."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT
from sim.physics.arrays import S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_SPIN, S_VEL, Bodies, Drive, Motion
from sim.physics.compiled import kernel
from sim.physics.dynamics import accelerations
from sim.physics.forces import MODEL, MOTION, OUT, STATE, ForceArguments, step_forces
from sim.physics.kinematics import forward
from sim.physics.lanes import ALONE, leads
from sim.physics.vector import dot, plus, plus_cross, put, size, times, vec

Array = NDArray[np.float64]
SMALL_TURN = 1.0e-4
"""rad; half of a turn below this has a sine equal to its two first terms, to the last digit."""


@kernel
def turn_quaternion(state: Array, time: float) -> None:
    """Turn the base by its angular velocity (world axes) for a time, exactly."""
    spin = vec(state, S_SPIN)
    speed = size(spin)
    half = 0.5 * speed * time
    # sin(half) / speed
    share = 0.5 * time * (1.0 - half * half / 6.0) if half < SMALL_TURN else math.sin(half) / speed
    a = times(share, spin)
    aw = math.cos(half)
    q = vec(state, S_QUAT)
    w = state[S_QUAT + 3]
    turned = plus_cross(plus(times(aw, q), times(w, a)), a, q)
    rest = aw * w - a[0] * q[0] - a[1] * q[1] - a[2] * q[2]
    unit = 1.0 / math.sqrt(dot(turned, turned) + rest * rest)
    put(state, S_QUAT, times(unit, turned))
    state[S_QUAT + 3] = rest * unit


@kernel
def integrate(state: Array, acceleration: Array, time: float) -> None:
    """Speeds by the accelerations (16,), then places by the new speeds (semi-implicit Euler), in place."""
    for i in range(3):
        state[S_VEL + i] += time * acceleration[i]
        state[S_SPIN + i] += time * acceleration[3 + i]
        state[S_POS + i] += time * state[S_VEL + i]
    turn_quaternion(state, time)
    for j in range(JOINT_COUNT):
        state[S_QD + j] += time * acceleration[6 + j]
        state[S_Q + j] += time * state[S_QD + j]


@kernel
def move(
    state: Array, out: Array, body: Bodies, motion: Motion, gravity: Array, step: float, work: Array, matrix: Array,
    result: Array,
) -> None:  # fmt: skip
    """Advance ``state`` by one step under the forces ``out``; ``motion`` holds the kinematics of that state."""
    accelerations(state, out, body, motion, gravity, work, matrix, result)
    integrate(state, result, step)


@kernel
def free_step(
    state: Array, out: Array, body: Bodies, drive: Drive, motion: Motion, gravity: Array, step: float, work: Array,
    matrix: Array, result: Array,
) -> None:  # fmt: skip
    """One step under given forces, from the state alone."""
    forward(state, body, drive, motion)
    move(state, out, body, motion, gravity, step, work, matrix, result)


@kernel
def run_steps(
    steps: int, present: Array, gravity: Array, step: float, work: Array, matrix: Array, result: Array,
    arguments: ForceArguments, lane: int = ALONE,
) -> None:  # fmt: skip
    """Advance ``present`` by a number of steps; the forces' arrays hold what the last step's forces came from."""
    a = arguments
    state = a[STATE]
    for _ in range(steps):
        if leads(lane):
            for k in range(S_SIZE):
                state[k] = present[k]
        # Written out, for the compiler of another target takes no star.
        step_forces(a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9], a[10], a[11], a[12], lane)
        if leads(lane):
            move(present, a[OUT], a[MODEL].body, a[MOTION], gravity, step, work, matrix, result)
