"""Motor, gears, shafts and steering servo: torques on wheel and knuckle joints and their reaction on the chassis."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import AXLE_BODIES, KNUCKLE_BODIES, WHEEL_BODIES
from sim.physics.arrays import (
    M_CURRENT,
    M_ENERGY,
    M_MOTOR,
    M_MOTOR_SPEED,
    M_PEAK_CURRENT,
    M_SATURATED,
    M_SERVO,
    M_SERVO_LOAD,
    M_SHAFT,
    O_TAU,
    S_Q,
    S_QD,
    U_BRAKE,
    U_DT,
    U_DUTY,
    U_STEER,
    U_VOLTAGE,
    Drive,
)
from sim.physics.compiled import kernel

Array = NDArray[np.float64]

# Joint indices: body index minus one.
KNUCKLE_LEFT, KNUCKLE_RIGHT = (body - 1 for body in KNUCKLE_BODIES)
FRONT_LEFT, FRONT_RIGHT, REAR_LEFT, REAR_RIGHT = (body - 1 for body in WHEEL_BODIES)
FRONT_AXLE, REAR_AXLE = AXLE_BODIES
SERVO_BAND = 0.035
"""rad of error over which a servo goes from still to full speed (about two degrees, common practice, no source)."""


@kernel
def shaft_pair(
    left: float, right: float, speed_left: float, speed_right: float, shaft: float, shaft_speed: float, locked: bool,
    k: float, c: float,
) -> tuple[float, float]:  # fmt: skip
    """Torques of one axle's two half shafts; an open differential gives both sides the mean."""
    a = k * (shaft - left) + c * (shaft_speed - speed_left)
    b = k * (shaft - right) + c * (shaft_speed - speed_right)
    if locked:
        return a, b
    mean = 0.5 * (a + b)
    return mean, mean


@kernel
def motor_current(duty: float, speed: float, volts: float, kt: float, ohm: float, limit: float, drag: float) -> float:
    """Current for a pulse-width controller: drives with what it is told, brakes with its drag-brake share."""
    current = (duty * volts - kt * speed) / ohm
    if current * duty < 0.0 or duty == 0.0:
        current *= drag
    return min(max(current, -limit), limit)


@kernel
def rub(speed: float, friction: float, dt: float, inertia: float) -> float:
    """Speed after dry friction has acted for one step: it can stop a shaft but never turn it back."""
    loss = friction * dt / inertia
    if speed > loss:
        return speed - loss
    if speed < -loss:
        return speed + loss
    return 0.0


@kernel
def _axle_shafts(
    state: Array, left: int, right: int, angle: float, speed: float, reduction: float, locked: bool, drive: Drive
) -> tuple[float, float]:
    """Torques of the half shafts on two wheel joints, the motor at this angle and speed."""
    return shaft_pair(
        state[S_Q + left], state[S_Q + right], state[S_QD + left], state[S_QD + right], angle / reduction,
        speed / reduction, locked, drive.shaft_stiffness, drive.shaft_damping,
    )  # fmt: skip


@kernel
def _twist(rotation: Array, wrench: Array, axle: int, torque: float) -> None:
    """Torque about the chassis' x axis on an axle, and its reaction on the chassis."""
    for i in range(3):
        wrench[axle, 3 + i] += torque * rotation[0, i, 0]
        wrench[0, 3 + i] -= torque * rotation[0, i, 0]


@kernel
def drive_forces(
    state: Array, controls: Array, memory: Array, drive: Drive, rotation: Array, wrench: Array, out: Array
) -> None:
    """Motor to wheels, one step: integrates the motor, adds wheel-joint torques and the shafts' roll reaction.

    The shafts lie along the chassis; what they bring to an axle they take from the chassis, about its x axis
    (torque twist). Gear losses are dry friction in proportion to the torque carried plus the motor's own.
    """
    dt = controls[U_DT]
    front, rear, kt, k, c = drive.front, drive.rear, drive.kt, drive.shaft_stiffness, drive.shaft_damping
    angle = memory[M_MOTOR]
    speed = memory[M_MOTOR_SPEED]
    fl, fr = _axle_shafts(state, FRONT_LEFT, FRONT_RIGHT, angle, speed, front, drive.locked_front, drive)
    rl, rr = _axle_shafts(state, REAR_LEFT, REAR_RIGHT, angle, speed, rear, drive.locked_rear, drive)
    out[O_TAU + FRONT_LEFT] += fl
    out[O_TAU + FRONT_RIGHT] += fr
    out[O_TAU + REAR_LEFT] += rl
    out[O_TAU + REAR_RIGHT] += rr
    memory[M_SHAFT] = fl
    memory[M_SHAFT + 1] = fr
    memory[M_SHAFT + 2] = rl
    memory[M_SHAFT + 3] = rr
    _twist(rotation, wrench, FRONT_AXLE, (fl + fr) / drive.shaft_ratio)
    _twist(rotation, wrench, REAR_AXLE, (rl + rr) / drive.shaft_ratio)
    load = (fl + fr) / front + (rl + rr) / rear
    volts = drive.volts * controls[U_VOLTAGE]
    current = motor_current(controls[U_DUTY], speed, volts, kt, drive.ohm, drive.limit, drive.drag)
    # What the shafts wind up within the step and the electric braking are taken at its end. Wind-up counts against
    # the wheels' own speed: a shaft that turns with its wheels winds up nothing.
    stiff = 2.0 * k * (1.0 / (front * front) + 1.0 / (rear * rear))
    soft = 2.0 * c * (1.0 / (front * front) + 1.0 / (rear * rear))
    implied = drive.rotor + dt * (kt * kt / drive.ohm + soft) + dt * dt * stiff
    ahead_front = 2.0 * speed / front - state[S_QD + FRONT_LEFT] - state[S_QD + FRONT_RIGHT]
    ahead_rear = 2.0 * speed / rear - state[S_QD + REAR_LEFT] - state[S_QD + REAR_RIGHT]
    growth = dt * k * (ahead_front / front + ahead_rear / rear)
    fresh = speed + (kt * current - load - growth) * dt / implied
    # Efficiency is power out over power in: the motor drives the wheels, or they drive it.
    lost = 1.0 - drive.efficiency
    if abs(kt * current) > abs(load):
        lost /= drive.efficiency
    friction = kt * drive.no_load + lost * abs(load)
    if controls[U_BRAKE] != 0.0:
        friction += drive.drag * kt * min(drive.limit, volts / drive.ohm)
    fresh = rub(fresh, friction, dt, implied)
    memory[M_MOTOR_SPEED] = fresh
    memory[M_MOTOR] = angle + fresh * dt
    memory[M_CURRENT] = current
    memory[M_PEAK_CURRENT] = max(memory[M_PEAK_CURRENT], abs(current))
    memory[M_ENERGY] += max(current * controls[U_DUTY], 0.0) * volts * dt


@kernel
def wheel_angles(command: float, ackermann: float, half_span_over_l: float) -> tuple[float, float]:
    """Steering angles left and right for a mean command, rad; full Ackermann is
    ``cot(outer) - cot(inner) = span / wheelbase``, ``ackermann`` the share of it."""
    tangent = math.tan(command)
    left = math.atan2(tangent, 1.0 - half_span_over_l * tangent)
    right = math.atan2(tangent, 1.0 + half_span_over_l * tangent)
    return command + ackermann * (left - command), command + ackermann * (right - command)


@kernel
def steer_forces(state: Array, controls: Array, memory: Array, drive: Drive, out: Array) -> None:
    """Servo and drag link, one step: the servo slows under load, stalls, and is pushed back by more than its stall."""
    dt = controls[U_DT]
    limit, k, c, stall, top = (
        drive.steer_limit, drive.link_stiffness, drive.link_damping, drive.servo_stall, drive.servo_speed,
    )  # fmt: skip
    command = min(max(controls[U_STEER], -limit), limit)
    servo = memory[M_SERVO]
    left, right = wheel_angles(servo, drive.ackermann, drive.half_span_over_wheelbase)
    push_left = k * (left - state[S_Q + KNUCKLE_LEFT]) - c * state[S_QD + KNUCKLE_LEFT]
    push_right = k * (right - state[S_Q + KNUCKLE_RIGHT]) - c * state[S_QD + KNUCKLE_RIGHT]
    out[O_TAU + KNUCKLE_LEFT] += push_left
    out[O_TAU + KNUCKLE_RIGHT] += push_right
    load = push_left + push_right
    want = top * min(max((command - servo) / SERVO_BAND, -1.0), 1.0)
    fastest = max(top * (1.0 - load / stall), -top)
    slowest = min(-top * (1.0 + load / stall), top)
    servo += min(max(want, slowest), fastest) * dt
    memory[M_SERVO] = min(max(servo, -limit), limit)
    memory[M_SERVO_LOAD] = load
    if abs(load) >= stall:
        memory[M_SATURATED] += dt
