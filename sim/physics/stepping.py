"""Time steps of the truck in one compiled call: forces, accelerations, speeds, places."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT
from sim.physics.arrays import S_POS, S_Q, S_QD, S_QUAT, S_SPIN, S_VEL
from sim.physics.compiled import kernel
from sim.physics.dynamics import accelerations
from sim.physics.forces import BODY, FRAMES, OUT, POINTS, STATE, ForceArguments, step_forces
from sim.physics.kinematics import forward

Array = NDArray[np.float64]
SMALL_TURN = 1.0e-4
"""rad; half of a turn below this has a sine equal to its two first terms, to the last digit."""


@kernel
def turn_quaternion(state: Array, time: float) -> None:
    """Turn the base by its angular velocity (world axes) for a time, exactly."""
    wx = state[S_SPIN]
    wy = state[S_SPIN + 1]
    wz = state[S_SPIN + 2]
    speed = math.sqrt(wx * wx + wy * wy + wz * wz)
    half = 0.5 * speed * time
    # sin(half) / speed
    share = 0.5 * time * (1.0 - half * half / 6.0) if half < SMALL_TURN else math.sin(half) / speed
    ax = share * wx
    ay = share * wy
    az = share * wz
    aw = math.cos(half)
    x = state[S_QUAT]
    y = state[S_QUAT + 1]
    z = state[S_QUAT + 2]
    w = state[S_QUAT + 3]
    nx = aw * x + ax * w + ay * z - az * y
    ny = aw * y + ay * w + az * x - ax * z
    nz = aw * z + az * w + ax * y - ay * x
    nw = aw * w - ax * x - ay * y - az * z
    size = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz + nw * nw)
    state[S_QUAT] = nx * size
    state[S_QUAT + 1] = ny * size
    state[S_QUAT + 2] = nz * size
    state[S_QUAT + 3] = nw * size


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
    state: Array, out: Array, body: Array, frames: Array, points: Array, gravity: Array, step: float, work: Array,
    matrix: Array, result: Array,
) -> None:  # fmt: skip
    """Advance ``state`` by one step under the forces ``out``; frames and points hold the kinematics of that state."""
    accelerations(state, out, body, frames, points[0], points[1], gravity, work, matrix, result)
    integrate(state, result, step)


@kernel
def free_step(
    state: Array, out: Array, body: Array, drive: Array, frames: Array, points: Array, gravity: Array, step: float,
    work: Array, matrix: Array, result: Array,
) -> None:  # fmt: skip
    """One step under given forces, from the state alone."""
    forward(state, body, drive, frames, points[0], points[1], points[2])
    move(state, out, body, frames, points, gravity, step, work, matrix, result)


@kernel
def run_steps(
    steps: int,
    present: Array,
    gravity: Array,
    step: float,
    work: Array,
    matrix: Array,
    result: Array,
    arguments: ForceArguments,
) -> None:
    """Advance ``present`` by a number of steps; the forces' arrays hold what the last step's forces came from."""
    state = arguments[STATE]
    for _ in range(steps):
        state[:] = present
        step_forces(*arguments)
        move(
            present, arguments[OUT], arguments[BODY], arguments[FRAMES], arguments[POINTS], gravity, step, work, matrix,
            result,
        )  # fmt: skip
