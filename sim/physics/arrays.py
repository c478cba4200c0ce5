"""A rigid model as the few flat arrays that the kernels read.

Offsets are module constants so that the compiled code sees plain numbers. All values are SI.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.rigid import AXLE_BODIES, JOINT_COUNT, WHEEL_BODIES, RigidModel

Array = NDArray[np.float64]

# --- engine state, one flat row ---------------------------------------------------------------------------------
S_POS, S_QUAT, S_VEL, S_SPIN, S_Q, S_QD, S_SIZE = 0, 3, 7, 10, 13, 13 + JOINT_COUNT, 13 + 2 * JOINT_COUNT

# --- controls ---------------------------------------------------------------------------------------------------
U_DUTY, U_STEER, U_BRAKE, U_DT, U_GRIP, U_VOLTAGE, U_SIZE = 0, 1, 2, 3, 4, 5, 6

# --- memory of the force elements between steps -------------------------------------------------------------------
M_MOTOR, M_MOTOR_SPEED, M_SERVO, M_SERVO_LOAD, M_CURRENT, M_ENERGY, M_SATURATED, M_PEAK_CURRENT = range(8)
M_TIME = 8
M_PRESSURE = 9  # four, Pa
M_SHAFT = 13  # four, N m at the wheel
M_HULL_HITS = 17
M_HULL_LOAD = 18  # N on chassis feelers
M_SINK = 19
M_HULL_LOAD_AXLE = 20
M_CARCASS = 21  # four times three, m: tread against rim, world axes
M_CARCASS_MOVE = 33  # the same over the last step
M_SIZE = 45

# --- output -------------------------------------------------------------------------------------------------------
O_FORCE, O_TORQUE, O_TAU, O_SIZE = 0, 3, 6, 6 + JOINT_COUNT

# --- wheel read-out: (4, W_SIZE) ----------------------------------------------------------------------------------
W_FX, W_FY, W_FZ, W_NORMAL, W_PX, W_PY, W_PZ, W_TOUCH, W_SINK, W_SIZE = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9

# --- body table: (11, B_SIZE) --------------------------------------------------------------------------------------
B_P, B_AXIS, B_MASS, B_COM, B_PRISMATIC, B_INERTIA, B_SIZE = 0, 3, 6, 7, 10, 11, 17
# B_INERTIA: six about the centre of mass in body axes: xx, yy, zz, xy, xz, yz

# --- tyre table: (4, T_SIZE) ----------------------------------------------------------------------------------------
(
    T_BODY,
    T_RIM,
    T_LAW_STEP,
    T_SIDE,
    T_BRISTLE,
    T_DAMP,
    T_GRIP,
    T_PRESSURE,
    T_EXPONENT,
    T_AREA,
    T_RADIUS,
    T_HALF_WIDTH,
    T_CARCASS,
    T_SIZE,
) = range(14)

# --- shock table: (n, H_SIZE) ---------------------------------------------------------------------------------------
K_BODY, K_CHASSIS, K_AXLE, K_LENGTH, K_FORCE, K_RATE, K_DAMP, K_BUMP, K_DROOP, K_STOP, K_SIZE = (
    0,
    1,
    4,
    7,
    8,
    9,
    10,
    11,
    12,
    13,
    14,
)

# --- drive and steering constants -----------------------------------------------------------------------------------
(
    D_KT,
    D_OHM,
    D_NO_LOAD,
    D_LIMIT,
    D_VOLT,
    D_ROTOR,
    D_FRONT,
    D_REAR,
    D_SHAFT_RATIO,
    D_EFFICIENCY,
    D_SHAFT_K,
    D_SHAFT_C,
    D_DRAG,
    D_LOCK_FRONT,
    D_LOCK_REAR,
    D_STEER_MAX,
    D_ACKERMANN,
    D_HALF_SPAN_OVER_L,
    D_SERVO_STALL,
    D_SERVO_SPEED,
    D_LINK_K,
    D_LINK_C,
    D_BASE_P,
    D_SIZE,
) = (*range(23), 35)
# D_BASE_P: position (3) and rotation (9) of the engine's base frame in the chassis frame

# --- hull table: (n, F_SIZE) ----------------------------------------------------------------------------------------
F_BODY, F_ROOT, F_TIP, F_STIFF, F_GRIP, F_DAMP, F_SIZE = 0, 1, 4, 7, 8, 9, 10

# --- ground header --------------------------------------------------------------------------------------------------
G_X0, G_Y0, G_INV, G_BLOCK, G_TOP, G_LAST_U, G_LAST_V, G_SIZE = range(8)
# G_LAST_U, G_LAST_V: index of the last node along x and y, as numbers

HULL_DAMPING_TIME = 2.0e-3
"""s; a hull feeler loses most of its impact energy, as plastic on rock does (common practice, no source)."""


@dataclass(frozen=True)
class ModelArrays:
    """Everything constant during a trial, flat."""

    body: Array
    tyre: Array
    row: Array
    """(4, rows, 2) lateral place and radius."""
    law: Array
    """(4, n) spoke force over shortening."""
    compass: Array
    """(n_round, 2) cosine and sine of the spoke directions."""
    shock: Array
    drive: Array
    hull: Array


def _body_table(model: RigidModel) -> Array:
    table = np.zeros((len(model.bodies), B_SIZE))
    for row, body in zip(table, model.bodies, strict=True):
        row[B_P : B_P + 3] = body.p_PJ
        row[B_AXIS : B_AXIS + 3] = body.axis
        row[B_MASS] = body.mass
        row[B_COM : B_COM + 3] = body.p_BBcm
        row[B_PRISMATIC] = float(body.joint == "prismatic")
        row[B_INERTIA:] = body.I_BBcm[(0, 1, 2, 0, 0, 1), (0, 1, 2, 1, 2, 2)]
    return table


def _tyre_table(model: RigidModel) -> Array:
    table = np.zeros((4, T_SIZE))
    for row, tyre, body in zip(table, model.tyres, WHEEL_BODIES, strict=True):
        row[T_BODY] = body
        row[T_RIM] = tyre.rim_radius
        row[T_LAW_STEP] = tyre.law_step
        row[T_SIDE] = tyre.side_stiffness
        row[T_BRISTLE] = tyre.bristle_stiffness
        row[T_CARCASS] = tyre.carcass_stiffness
        row[T_DAMP] = tyre.damping_time
        row[T_GRIP] = tyre.grip
        row[T_PRESSURE] = tyre.grip_pressure
        row[T_EXPONENT] = tyre.grip_exponent
        row[T_AREA] = tyre.spoke_area
        row[T_RADIUS] = tyre.row_radius.max()
        row[T_HALF_WIDTH] = np.abs(tyre.row_y).max()
    return table


def _law_table(model: RigidModel) -> Array:
    longest = max(len(t.law_force) for t in model.tyres)
    table = np.zeros((4, longest))
    for row, tyre in zip(table, model.tyres, strict=True):
        n = len(tyre.law_force)
        slope = tyre.law_force[-1] - tyre.law_force[-2]
        row[:n] = tyre.law_force
        row[n:] = tyre.law_force[-1] + slope * np.arange(1, longest - n + 1)
    return table


def _shock_table(model: RigidModel) -> Array:
    table = np.zeros((len(model.shocks), K_SIZE))
    for row, shock in zip(table, model.shocks, strict=True):
        row[K_BODY] = shock.axle_body
        row[K_CHASSIS : K_CHASSIS + 3] = shock.p_chassis
        row[K_AXLE : K_AXLE + 3] = shock.p_axle
        row[K_LENGTH] = shock.ride_length
        row[K_FORCE] = shock.ride_force
        row[K_RATE] = shock.rate
        row[K_DAMP] = shock.damping
        row[K_BUMP] = shock.bump
        row[K_DROOP] = shock.droop
        row[K_STOP] = shock.stop_rate
    return table


def command_limit(model: RigidModel) -> float:
    """Steering command (mean of the wheels, rad) at which the inner wheel meets its stop."""
    steering = model.steering
    lo, hi = 0.0, steering.limit
    w = 0.5 * steering.kingpin_span / steering.wheelbase
    for _ in range(60):
        mid = 0.5 * (lo + hi)
        full = np.arctan2(np.tan(mid), 1.0 - w * np.tan(mid))
        inner = mid + steering.ackermann * (full - mid)
        lo, hi = (mid, hi) if inner < steering.limit else (lo, mid)
    return lo


def _drive_table(model: RigidModel, base_p: Array, base_rotation: Array) -> Array:
    drive, steering = model.drive, model.steering
    table = np.zeros(D_SIZE)
    table[D_KT] = drive.kt
    table[D_OHM] = drive.resistance
    table[D_NO_LOAD] = drive.no_load_current
    table[D_LIMIT] = drive.current_limit
    table[D_VOLT] = drive.voltage
    table[D_ROTOR] = drive.rotor_inertia
    table[D_FRONT] = drive.front_reduction
    table[D_REAR] = drive.rear_reduction
    table[D_SHAFT_RATIO] = drive.shaft_reduction
    table[D_EFFICIENCY] = drive.efficiency
    table[D_SHAFT_K] = drive.shaft_stiffness
    table[D_SHAFT_C] = drive.shaft_damping
    table[D_DRAG] = drive.drag_brake
    table[D_LOCK_FRONT] = float(drive.locked_front)
    table[D_LOCK_REAR] = float(drive.locked_rear)
    table[D_STEER_MAX] = command_limit(model)
    table[D_ACKERMANN] = steering.ackermann
    table[D_HALF_SPAN_OVER_L] = 0.5 * steering.kingpin_span / steering.wheelbase
    table[D_SERVO_STALL] = steering.stall_torque
    table[D_SERVO_SPEED] = steering.speed
    table[D_LINK_K] = steering.stiffness
    table[D_LINK_C] = steering.damping
    table[D_BASE_P : D_BASE_P + 3] = base_p
    table[D_BASE_P + 3 : D_BASE_P + 12] = base_rotation.ravel()
    return table


def _hull_table(model: RigidModel) -> Array:
    hull = model.hull
    table = np.zeros((len(hull.body), F_SIZE))
    table[:, F_BODY] = hull.body
    table[:, F_ROOT : F_ROOT + 3] = hull.p_root
    table[:, F_TIP : F_TIP + 3] = hull.p_tip
    table[:, F_STIFF] = hull.stiffness
    table[:, F_GRIP] = hull.grip
    table[:, F_DAMP] = HULL_DAMPING_TIME * hull.stiffness
    return table


def model_arrays(model: RigidModel, base_p: Array, base_rotation: Array) -> ModelArrays:
    """Flatten a model; the base frame is the engine's (position (3,), rotation (3, 3) in the chassis frame)."""
    angles = 2.0 * np.pi * np.arange(model.tyres[0].n_round) / model.tyres[0].n_round
    rows = np.array([np.column_stack([t.row_y, t.row_radius]) for t in model.tyres])
    return ModelArrays(
        body=_body_table(model),
        tyre=_tyre_table(model),
        row=np.ascontiguousarray(rows),
        law=_law_table(model),
        compass=np.column_stack([np.cos(angles), np.sin(angles)]),
        shock=_shock_table(model),
        drive=_drive_table(model, base_p, base_rotation),
        hull=_hull_table(model),
    )


AXLES = AXLE_BODIES
