"""Wheel speed, wheel torque and overdrive from motor, pack and gears; SI."""

from __future__ import annotations

import math

from models.rigid import DriveTrain


def no_load_speed(drive: DriveTrain, radius: float) -> float:
    """Tread speed (m/s) of the rear wheels in the air: ``kV (V - I0 R) / reduction * radius``."""
    back_emf = drive.voltage - drive.no_load_current * drive.resistance
    return max(back_emf, 0.0) / drive.kt / drive.rear_reduction * radius


def stall_current(drive: DriveTrain) -> float:
    """Motor current (A) at standstill: ``V / R``, or the controller's limit."""
    return min(drive.voltage / drive.resistance, drive.current_limit)


def wheel_torque(drive: DriveTrain) -> float:
    """Torque (N m) at all wheels together from standstill: ``kT (I - I0) * reduction * efficiency``."""
    return drive.kt * max(stall_current(drive) - drive.no_load_current, 0.0) * drive.rear_reduction * drive.efficiency


def climb_by_torque(torque: float, radius: float, weight: float) -> float:
    """Steepest slope (rad) that the wheel torque can pull the weight up: ``asin(torque / (radius weight))``."""
    return math.asin(min(torque / (radius * weight), 1.0))


def lead_percent(front_circumference: float, rear_circumference: float, gear_ratio: float) -> float:
    """How much farther (%) the front treads would roll than the rear ones: ``(Cf RM - Cr) / Cr``.

    RM is front over rear axle turns. (Mechanical lead of four-wheel-drive tractors, as their tyre makers publish it.)
    """
    return 100.0 * (front_circumference * gear_ratio - rear_circumference) / rear_circumference
