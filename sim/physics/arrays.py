"""A rigid model and what moves it as the plain arrays and named records that the kernels read. All values are SI.

What stays constant during a trial is a named tuple, whose fields the compiled code reads as fast as a local variable;
what changes is a flat row, with the places in it generated from the sizes.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT, SOFT_EDGE, RigidModel

Array = NDArray[np.float64]


def places(*sizes: int) -> Iterator[int]:
    """Where entries of these sizes begin in a row, and last the row's own size."""
    return accumulate(sizes, initial=0)


# Engine state: place, quaternion x y z w, velocity and angular velocity of the base, then the joints.
S_POS, S_QUAT, S_VEL, S_SPIN, S_Q, S_QD, S_SIZE = places(3, 4, 3, 3, JOINT_COUNT, JOINT_COUNT)
# Controls.
U_DUTY, U_STEER, U_BRAKE, U_DT, U_GRIP, U_VOLTAGE, U_SIZE = places(1, 1, 1, 1, 1, 1)
# Memory of the force elements between steps. Pressure (Pa), shaft (N m at the wheel) and carcass (m, tread against rim,
# world axes; its motion over the last step) are by wheel; hull loads are in N, on chassis and axles.
(
    M_MOTOR, M_MOTOR_SPEED, M_SERVO, M_SERVO_LOAD, M_CURRENT, M_ENERGY, M_SATURATED, M_PEAK_CURRENT, M_TIME, M_PRESSURE,
    M_SHAFT, M_HULL_HITS, M_HULL_LOAD, M_SINK, M_HULL_LOAD_AXLE, M_CARCASS, M_CARCASS_MOVE, M_SIZE,
) = places(1, 1, 1, 1, 1, 1, 1, 1, 1, 4, 4, 1, 1, 1, 1, 12, 12)  # fmt: skip
# Output: base wrench and joint efforts.
O_FORCE, O_TORQUE, O_TAU, O_SIZE = places(3, 3, JOINT_COUNT)
# Read-out of one wheel: force, normal load, support point, number of touching elements, deepest of them.
W_FX, W_FY, W_FZ, W_NORMAL, W_PX, W_PY, W_PZ, W_TOUCH, W_SINK, W_SIZE = places(1, 1, 1, 1, 1, 1, 1, 1, 1)
# Tyre table: (4, T_SIZE).
(
    T_LAW_STEP, T_BRISTLE, T_CARCASS, T_DAMP, T_GRIP, T_PRESSURE, T_EXPONENT, T_AREA, T_RADIUS, T_HALF_WIDTH, T_CROWN,
    T_EDGE, T_SIZE,
) = range(13)  # fmt: skip

HULL_DAMPING_TIME = 2.0e-3
"""s; a hull feeler loses most of its impact energy, as plastic on rock does (common practice, no source)."""


class Bodies(NamedTuple):
    """The tree's bodies, a row each; joint axes and inertias in body axes."""

    place: Array
    """(11, 3) of the joint in the parent."""
    axis: Array
    """(11, 3) of the joint."""
    prismatic: Array
    """(11,) bool."""
    mass: Array
    com: Array
    """(11, 3)."""
    inertia: Array
    """(11, 6) about the centre of mass: xx, yy, zz, xy, xz, yz."""


class Shocks(NamedTuple):
    """Springs and dampers, an entry each."""

    axle_body: NDArray[np.int64]
    chassis: Array
    """(n, 3) upper eye in the chassis."""
    axle: Array
    """(n, 3) lower eye in its axle."""
    length: Array
    force: Array
    rate: Array
    damping: Array
    bump: Array
    droop: Array
    stop: Array


class Drive(NamedTuple):
    """Motor, gears, shafts, servo and drag link, and the engine's base frame in the chassis frame."""

    kt: float
    ohm: float
    no_load: float
    limit: float
    volts: float
    rotor: float
    front: float
    rear: float
    shaft_ratio: float
    """Wheel over shaft torque; negative where the shafts turn anticlockwise, seen from behind, to drive forward."""
    efficiency: float
    shaft_stiffness: float
    shaft_damping: float
    drag: float
    locked_front: bool
    locked_rear: bool
    steer_limit: float
    """Largest command, rad."""
    ackermann: float
    half_span_over_wheelbase: float
    servo_stall: float
    servo_speed: float
    link_stiffness: float
    link_damping: float
    base_p: Array
    base_rotation: Array


class Hull(NamedTuple):
    """Feelers of the hard parts, an entry each."""

    body: NDArray[np.int64]
    root: Array
    tip: Array
    stiffness: Array
    grip: Array
    damping: Array


class ModelArrays(NamedTuple):
    """Everything constant during a trial."""

    body: Bodies
    tyre: Array
    pressure: Array
    """(4, n) pressure field over depth, Pa."""
    shock: Shocks
    drive: Drive
    hull: Hull


class Motion(NamedTuple):
    """Where every body is and how it moves, world axes: rotation (11, 3, 3), the others (11, 3) or wider."""

    rotation: Array
    origin: Array
    spin: Array
    velocity: Array


def _bodies(model: RigidModel) -> Bodies:
    bodies = model.bodies
    return Bodies(
        place=np.array([b.p_PJ for b in bodies], dtype=np.float64),
        axis=np.array([b.axis for b in bodies], dtype=np.float64),
        prismatic=np.array([b.joint == "prismatic" for b in bodies]),
        mass=np.array([b.mass for b in bodies], dtype=np.float64),
        com=np.array([b.p_BBcm for b in bodies], dtype=np.float64),
        inertia=np.array([b.I_BBcm[(0, 1, 2, 0, 0, 1), (0, 1, 2, 1, 2, 2)] for b in bodies]),
    )


def _tyre_table(model: RigidModel) -> Array:
    table = np.zeros((4, T_SIZE))
    for row, tyre in zip(table, model.tyres, strict=True):
        row[T_LAW_STEP] = tyre.law_step
        row[T_BRISTLE] = tyre.bristle_stiffness
        row[T_CARCASS] = tyre.carcass_stiffness
        row[T_DAMP] = tyre.damping_time
        row[T_GRIP] = tyre.grip
        row[T_PRESSURE] = tyre.grip_pressure
        row[T_EXPONENT] = tyre.grip_exponent
        row[T_AREA] = tyre.element_area
        row[T_RADIUS] = tyre.row_radius.max()
        row[T_HALF_WIDTH] = 0.5 * tyre.width
        row[T_CROWN] = tyre.crown
        row[T_EDGE] = SOFT_EDGE * tyre.width
    return table


def _pressure_table(model: RigidModel) -> Array:
    longest = max(len(t.law_force) for t in model.tyres)
    table = np.zeros((4, longest))
    for row, tyre in zip(table, model.tyres, strict=True):
        pressure = tyre.pressure()
        n = len(pressure)
        row[:n] = pressure
        row[n:] = pressure[-1] + (pressure[-1] - pressure[-2]) * np.arange(1, longest - n + 1)
    return table


def _shocks(model: RigidModel) -> Shocks:
    def column(name: str) -> Array:
        return np.array([getattr(shock, name) for shock in model.shocks], dtype=np.float64)

    return Shocks(
        np.array([shock.axle_body for shock in model.shocks]),
        column("p_chassis"), column("p_axle"), column("ride_length"), column("ride_force"), column("rate"),
        column("damping"), column("bump"), column("droop"), column("stop_rate"),
    )  # fmt: skip


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


def _drive(model: RigidModel, base_p: Array, base_rotation: Array) -> Drive:
    drive, steering = model.drive, model.steering
    return Drive(
        kt=float(drive.kt),
        ohm=float(drive.resistance),
        no_load=float(drive.no_load_current),
        limit=float(drive.current_limit),
        volts=float(drive.voltage),
        rotor=float(drive.rotor_inertia),
        front=float(drive.front_reduction),
        rear=float(drive.rear_reduction),
        shaft_ratio=float(drive.twist * drive.shaft_reduction),
        efficiency=float(drive.efficiency),
        shaft_stiffness=float(drive.shaft_stiffness),
        shaft_damping=float(drive.shaft_damping),
        drag=float(drive.drag_brake),
        locked_front=bool(drive.locked_front),
        locked_rear=bool(drive.locked_rear),
        steer_limit=float(command_limit(model)),
        ackermann=float(steering.ackermann),
        half_span_over_wheelbase=float(0.5 * steering.kingpin_span / steering.wheelbase),
        servo_stall=float(steering.stall_torque),
        servo_speed=float(steering.speed),
        link_stiffness=float(steering.stiffness),
        link_damping=float(steering.damping),
        base_p=np.array(base_p, dtype=np.float64),
        base_rotation=np.array(base_rotation, dtype=np.float64, order="C"),
    )


def model_arrays(model: RigidModel, base_p: Array, base_rotation: Array) -> ModelArrays:
    """Flatten a model; the base frame is the engine's (position (3,), rotation (3, 3) in the chassis frame)."""
    hull = model.hull
    stiffness = np.array(hull.stiffness, dtype=np.float64)
    return ModelArrays(
        body=_bodies(model),
        tyre=_tyre_table(model),
        pressure=_pressure_table(model),
        shock=_shocks(model),
        drive=_drive(model, base_p, base_rotation),
        hull=Hull(
            np.array(hull.body, dtype=np.int64).reshape(-1),
            np.array(hull.p_root, dtype=np.float64).reshape(-1, 3),
            np.array(hull.p_tip, dtype=np.float64).reshape(-1, 3),
            stiffness,
            np.array(hull.grip, dtype=np.float64),
            HULL_DAMPING_TIME * stiffness,
        ),
    )
