"""Motor, gears and servo of a sheet as the numbers that the simulation turns and the statics quote; SI."""

from __future__ import annotations

import math

from models.massprops import GRAVITY
from models.required import required
from models.rigid import DriveTrain, Steering
from models.spec import Driveline, Sheet

KGCM = GRAVITY / 100.0
"""N m in one kg cm."""
RAD_S_PER_RPM = 2.0 * math.pi / 60.0
SERVO_TWIST = math.radians(2.0)
"""Play and bend between servo and knuckles under full stall torque (assumed)."""
_STABLE = 0.25
"""Largest k dt^2 / I of a rotary spring: the explicit step is stable below 4, accurate well below 1."""


def torque_constant(kv_rpm_per_v: float) -> float:
    """Torque per ampere (N m/A): 60 / (2 pi kV) with kV in rpm/V, which is 1 / kV in SI."""
    return 1.0 / (kv_rpm_per_v * RAD_S_PER_RPM)


def teeth_ratio(pairs: tuple[tuple[int, int], ...]) -> float:
    """Turns of the first shaft per turn of the last, for (driving, driven) tooth counts."""
    return math.prod(driven / driving for driving, driven in pairs)


def front_lead(driveline: Driveline) -> float:
    """Front wheel turns per rear wheel turn."""
    if driveline.overdrive_percent is not None:
        return 1.0 + driveline.overdrive_percent / 100.0
    return teeth_ratio(driveline.rear_teeth) / teeth_ratio(driveline.front_teeth)


def stall_torque(sheet: Sheet) -> float:
    """Torque (N m) of the stalled servo about one knuckle pair: taken as proportional to its supply voltage."""
    servo = sheet.servo
    supply = required(servo.supply_v, "servo.supply_v")
    return servo.stall_kgcm * KGCM * supply / servo.at_v * servo.arm_ratio


def drive_train(sheet: Sheet, wheel_inertia: float, time_step: float = 1e-3) -> DriveTrain:
    """Make the driveline.

    :param wheel_inertia: kg m^2, smallest spin inertia of a wheel: bounds the shafts' stiffness for the time step.
    """
    line, motor, pack = sheet.driveline, sheet.motor, sheet.battery
    stiffness = required(line.shaft_stiffness_nm_per_rad, "driveline.shaft_stiffness_nm_per_rad")
    stiffness = min(stiffness, _STABLE * wheel_inertia / time_step**2)
    return DriveTrain(
        kt=torque_constant(motor.kv_rpm_per_v),
        resistance=motor.resistance_ohm + required(pack.resistance_ohm, "battery.resistance_ohm"),
        no_load_current=motor.no_load_current_a,
        current_limit=motor.current_limit_a,
        voltage=pack.voltage_v,
        rotor_inertia=required(motor.rotor_inertia_gcm2, "motor.rotor_inertia_gcm2") * 1e-7,
        front_reduction=line.reduction / front_lead(line),
        rear_reduction=line.reduction,
        shaft_reduction=required(line.shaft_reduction, "driveline.shaft_reduction"),
        efficiency=required(line.efficiency, "driveline.efficiency"),
        shaft_stiffness=stiffness,
        # A fifth of critical on the wheel's own inertia: gears and joints ring for a few cycles.
        shaft_damping=0.4 * math.sqrt(stiffness * wheel_inertia),
        drag_brake=required(line.drag_brake, "driveline.drag_brake"),
        locked_front=line.locked_front,
        locked_rear=line.locked_rear,
        twist=-1.0 if line.shafts_turn == "anticlockwise" else 1.0,
    )


def steering(sheet: Sheet, knuckle_inertia: float, time_step: float = 1e-3) -> Steering:
    """Make the steering.

    :param knuckle_inertia: kg m^2 of one knuckle with its wheel about the kingpin.
    """
    front, servo = sheet.axles.front, sheet.servo
    torque = stall_torque(sheet)
    supply = required(servo.supply_v, "servo.supply_v")
    stiffness = min(torque / 2.0 / SERVO_TWIST, _STABLE * knuckle_inertia / time_step**2)
    kingpin = required(front.kingpin_y_mm, "axles.front.kingpin_y_mm")
    return Steering(
        limit=math.radians(front.steer_deg),
        ackermann=front.ackermann,
        wheelbase=sheet.wheelbase_mm / 1000.0,
        kingpin_span=2.0 * kingpin / 1000.0,
        stall_torque=torque,
        speed=math.radians(60.0) / servo.speed_s_per_60deg * supply / servo.at_v / servo.arm_ratio,
        stiffness=stiffness,
        damping=math.sqrt(stiffness * knuckle_inertia),
    )
