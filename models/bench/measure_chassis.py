"""Measurements of springs, steering, servo and driveline."""

from __future__ import annotations

import math

import numpy as np

from models.bench.intake import protractor_limit, ruler_limit
from models.bench.interval import Interval, of_limits
from models.bench.measurement import Measurement, Setting, mapped, mean_of, slope_of
from models.bench.readings import Readings, Row
from models.drive import KGCM, front_lead
from models.errors import BuildSheetError
from models.massprops import GRAVITY
from models.spec import Sheet
from models.steergeometry import kingpin_span, outer_angle, turning_radius
from models.vector import Vector


def ruler(readings: Readings) -> float:
    """Standard uncertainty (m) of a length in this file."""
    return of_limits(ruler_limit(readings))


def protractor(readings: Readings) -> float:
    """Standard uncertainty (rad) of an angle in this file."""
    return of_limits(protractor_limit(readings))


def sag(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Sag, droop and bump travel of the shocks."""
    found = []
    for n, entry in enumerate(readings.sag, start=1):
        field = f"sag.{n}"
        hanging, resting, bottomed = (
            readings.read("length", getattr(entry, k), f"{field}.{k}") for k in ("hanging", "resting", "bottomed")
        )
        if not hanging >= resting >= bottomed or hanging <= bottomed:
            raise BuildSheetError("a shock is longest hanging and shortest bottomed.",
                                  remedy="Measure eye to eye: hanging, at rest, bottomed.", field=field,
                                  value=[entry.hanging, entry.resting, entry.bottomed])
        travel, error = hanging - bottomed, ruler(readings) * math.sqrt(2.0)
        share = (hanging - resting) / travel
        doubt = error / travel * math.hypot(1.0, share)
        shock = getattr(sheet.axles, entry.axle).shock
        path = ("axles", entry.axle, "shock")
        settings = (
            Setting((*path, "droop_mm"), round(1000.0 * (hanging - resting), 2), "measured"),
            Setting((*path, "bump_mm"), round(1000.0 * max(resting - bottomed, 1e-4), 2), "measured"),
        )
        found.append(Measurement(
            "sag", f"{entry.axle} sag", "%", Interval.around(share, doubt).times(100.0),
            100.0 * shock.droop_mm / (shock.droop_mm + shock.bump_mm), settings,
        ))  # fmt: skip
    return found


def spring(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Spring rates."""
    found = []
    for n, entry in enumerate(readings.spring, start=1):
        field = f"spring.{n}.rows"
        load, press = _rows(readings, entry.rows, field)
        rate = slope_of(press, load * GRAVITY, field).times(1e-3)
        key = ("axles", entry.axle, "shock", "rate_n_per_mm")
        sheet_says = getattr(sheet.axles, entry.axle).shock.rate_n_per_mm
        setting = Setting(key, _digits(rate.value), "measured", _doubt(rate, "N/mm"))
        found.append(Measurement("spring", f"{entry.axle} spring rate", "N/mm", rate, sheet_says, (setting,)))
    return found


def _rows(readings: Readings, rows: tuple[Row, ...], field: str) -> tuple[Vector, Vector]:
    loads, travel = zip(*rows, strict=True)
    return np.array(readings.read_all("mass", loads, field)), np.array(readings.read_all("length", travel, field))


def steering(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Angles at lock, and the share of Ackermann."""
    entry = readings.steering
    if entry is None:
        return []
    inner = mean_of(readings.read_all("angle", entry.inner, "steering.inner"), protractor(readings))
    _check_lock(inner.value, "steering.inner", entry.inner)
    steer = Setting(("axles", "front", "steer_deg"), round(math.degrees(inner.value), 1), "measured",
                    _doubt(inner.times(180 / math.pi), "deg"))
    found = [Measurement("steering", "inner wheel at lock", "deg", inner.times(180 / math.pi),
                         sheet.axles.front.steer_deg, (steer,))]
    if entry.outer is not None:
        outer = mean_of(readings.read_all("angle", entry.outer, "steering.outer"), protractor(readings))
        _check_lock(outer.value, "steering.outer", entry.outer)
        front = sheet.axles.front
        full = inner.value - outer_angle(inner.value, kingpin_span(front), sheet.wheelbase_mm / 1000.0)
        doubt = math.hypot(inner.uncertainty, outer.uncertainty) / full
        share = Interval.around((inner.value - outer.value) / full, doubt)
        value = min(max(round(share.value, 2), -0.5), 1.5)
        setting = Setting(("axles", "front", "ackermann"), value, "measured", _doubt(share, ""))
        found.append(Measurement("steering", "share of Ackermann", "", share, front.ackermann, (setting,)))
    return found


def _check_lock(angle: float, field: str, raw: object) -> None:
    if not 0.0 < angle < math.radians(75.0):
        raise BuildSheetError("is no steering angle.",
                              remedy="Read the angle between straight ahead and full lock, 20 to 50 deg.", field=field,
                              value=raw)


def turning_circle(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Radius of the path of the rear axle's middle, against steering geometry."""
    found = []
    front, base = sheet.axles.front, sheet.wheelbase_mm / 1000.0
    expected = turning_radius(math.radians(front.steer_deg), kingpin_span(front), base, front.ackermann)
    for n, entry in enumerate(readings.turning_circle, start=1):
        field = f"turning_circle.{n}.diameters"
        across = mean_of(readings.read_all("length", entry.diameters, field), ruler(readings))
        if entry.mark == "outer front tyre":
            if across.low / 2.0 <= base:
                raise BuildSheetError(
                    "the front tyre's circle cannot be smaller than the wheelbase allows.",
                    remedy="Give the diameter, not the radius, of the circle under the outer front tyre.",
                    field=field, value=list(entry.diameters),
                )  # fmt: skip
            half = front.track_mm / 2000.0
            radius = mapped(across, lambda d, half=half: math.sqrt((d / 2.0) ** 2 - base**2) - half)
        else:
            radius = across.times(0.5)
        found.append(Measurement(
            "turning_circle", f"turning radius to the {entry.to}", "mm", radius.times(1000.0),
            1000.0 * expected if math.isfinite(expected) else None,
            remark="locked axles and slip make the real circle wider than geometry",
        ))  # fmt: skip
    return found


def servo(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Stall torque from pull and arm."""
    entry = readings.servo
    if entry is None:
        return []
    arm = readings.read("length", entry.arm, "servo.arm")
    voltage = readings.read("voltage", entry.voltage, "servo.voltage")
    pull = mean_of(readings.read_all("force", entry.pulls, "servo.pulls"), 0.0)
    if arm <= 0.0 or voltage <= 0.0 or pull.value <= 0.0:
        raise BuildSheetError("pull, arm and voltage are more than nothing.", remedy="Check [servo].", field="servo")
    # The arm's ruler, and 3 % for a pull that is not quite square or not quite still (common practice, no source).
    doubt = pull.value * arm * math.hypot(ruler(readings) / arm, 0.03, pull.uncertainty / pull.value)
    torque = Interval.around(pull.value * arm, doubt).times(1.0 / KGCM)
    says = sheet.servo.stall_kgcm * voltage / sheet.servo.at_v
    if not 0.1 < torque.value / says < 10.0:
        raise BuildSheetError(
            f"gives {torque.value:.3g} kg·cm where the sheet has {says:.3g}.",
            remedy="Is the arm in the right unit, and the pull (a factor of 28.35 is ounces for grams, 9.81 N for kg)?",
            field="servo", value=[entry.arm, list(entry.pulls)],
        )  # fmt: skip
    settings = (
        Setting(("servo", "stall_kgcm"), _digits(torque.value), "measured", _doubt(torque, "kg·cm")),
        Setting(("servo", "at_v"), voltage, "measured"),
    )
    return [Measurement("servo", f"servo torque at {voltage:g} V", "kg·cm", torque, says, settings)]


def wheel_speed(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Motor kV from free wheels."""
    found = []
    for n, entry in enumerate(readings.wheel_speed, start=1):
        time = readings.read("time", entry.time, f"wheel_speed.{n}.time")
        voltage = readings.read("voltage", entry.voltage, f"wheel_speed.{n}.voltage")
        lost = sheet.motor.no_load_current_a * sheet.motor.resistance_ohm
        if time <= 0.0 or entry.turns <= 0.0 or voltage <= lost:
            raise BuildSheetError("turns, time and voltage are more than nothing.", remedy="Check the numbers.",
                                  field=f"wheel_speed.{n}")
        ratio = sheet.driveline.reduction / (front_lead(sheet.driveline) if entry.axle == "front" else 1.0)
        kv = entry.turns / time * 60.0 * ratio / (voltage - lost)
        # A tenth of a turn at either end, and 2 % on the voltage under load (common practice, no source).
        rate = Interval.around(kv, kv * math.hypot(0.1 * math.sqrt(2.0) / entry.turns, 0.02))
        setting = Setting(("motor", "kv_rpm_per_v"), round(rate.value), "measured", _doubt(rate, "rpm/V"))
        found.append(
            Measurement("wheel_speed", "motor kv", "rpm/V", rate, sheet.motor.kv_rpm_per_v, (setting,),
                        f"{entry.turns / time * 60:.0f} turns a minute at the {entry.axle} wheels")
        )  # fmt: skip
    return found


def gear_count(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Reduction and overdrive from turns counted by hand."""
    entry = readings.gear_count
    if entry is None:
        return []
    if not entry.rear or entry.motor <= entry.rear:
        raise BuildSheetError("the motor turns many times for each turn of the rear wheels.",
                              remedy="Give motor, rear (and front) turns counted on the same run.", field="gear_count")
    reduction = entry.motor / entry.rear
    part = Interval.around(reduction, reduction * 0.1 * math.hypot(1 / entry.motor, 1 / entry.rear) / math.sqrt(3.0))
    found = [Measurement(
        "gear_count", "reduction, motor to rear wheels", ": 1", part, sheet.driveline.reduction,
        (Setting(("driveline", "reduction"), _digits(reduction, 4), "measured", _doubt(part, "")),),
    )]  # fmt: skip
    if entry.front:
        lead = entry.front / entry.rear
        doubt = 100.0 * lead * 0.1 * math.hypot(1 / entry.front, 1 / entry.rear) / math.sqrt(3.0)
        over = Interval.around(100.0 * (lead - 1.0), doubt)
        settings: tuple[Setting, ...] = ()
        remark = "the sheet's tooth counts stay: they are exact where they are right"
        if not sheet.driveline.front_teeth:
            key = ("driveline", "overdrive_percent")
            settings, remark = (Setting(key, round(over.value, 1), "measured", _doubt(over, "%")),), ""
        says = 100.0 * (front_lead(sheet.driveline) - 1.0)
        found.append(Measurement("gear_count", "overdrive, front over rear", "%", over, says, settings, remark))
    return found


def _digits(value: float, digits: int = 3) -> float:
    return float(f"{value:.{digits}g}")


def _doubt(interval: Interval, unit: str) -> str:
    return f"{interval.low:.3g} to {interval.high:.3g} {unit}".rstrip()
