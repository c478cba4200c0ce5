"""Readings turned to SI, with what is not at hand taken from the build sheet, and slips of unit caught on the way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.bench.lifting import lift_angle, spring_lean
from models.bench.quantity import Kind
from models.bench.readings import Lift, Reading, Readings
from models.bench.unit_slips import WHEELS, check_length, check_sum, check_total, grams, slip
from models.errors import BuildSheetError
from models.massprops import GRAVITY, body_properties, truck_properties
from models.spec import Axle, Sheet, Tyre
from models.tyre import fit_tyre, plate_stiffness, static_squish
from models.vector import Vector

RULER_MM = 0.5
PROTRACTOR_DEG = 0.3
"""How close lengths and angles are read when the file does not say (common practice, no source)."""
SHEET_LENGTH_MM = 1.0
"""How close a sheet's own wheelbase, track and wheel height are taken to be."""
STEEPEST_DEG = 60.0
"""Lifts beyond this roll the truck off its scale."""


@dataclass(frozen=True)
class Length:
    """A length and how far it may be off (plus or minus)."""

    value: float
    within: float
    measured: bool


@dataclass(frozen=True)
class LiftReading:
    """One lift: angle, and what the scale under the other axle showed."""

    on: str
    """Axle on the scale."""
    lift: float | None
    """m; None if the angle itself was read."""
    angle: float
    """rad."""
    load: Vector
    """kg."""
    going: str
    field: str


@dataclass(frozen=True)
class Weighing:
    """All that was weighed, in kg, m, rad."""

    step: float
    accuracy: float
    ruler: float
    protractor: float
    whole: Vector | None
    wheels: tuple[Vector, ...] | None
    """Front left, front right, rear left, rear right."""
    axles: tuple[Vector, ...] | None
    wheelbase: Length
    tracks: tuple[Length, Length]
    radii: tuple[Length, Length]
    lifts: tuple[LiftReading, ...]
    locked: bool
    lean: float
    """m that free springs are expected to raise the reading of the height by; 0 if locked."""

    @property
    def groups(self) -> list[tuple[str, Vector]]:
        """Every place weighed, with its repeats."""
        found: list[tuple[str, Vector]] = [] if self.whole is None else [("whole truck", self.whole)]
        if self.wheels is not None:
            found += [(w.replace("_", " "), v) for w, v in zip(WHEELS, self.wheels, strict=True)]
        if self.axles is not None:
            found += [(f"{end} axle", v) for end, v in zip(("front", "rear"), self.axles, strict=True)]
        return found + [(lift.field, lift.load) for lift in self.lifts]


def weighing(readings: Readings, sheet: Sheet | None = None) -> Weighing:
    """Convert the weighing part of a readings file.

    :param sheet: resolved build sheet, for lengths that were not measured and to know what is usual.
    :raises BuildSheetError: a reading that cannot be, or nothing to work with.
    """
    if readings.scale is None:
        raise BuildSheetError("the scale is not described.",
                              remedy='Add [scale] with step = "1 g" (what its last digit means).', field="scale")
    step, given = readings.read("mass", readings.scale.step, "scale.step"), readings.scale.accuracy
    accuracy = step if given is None else readings.read("mass", given, "scale.accuracy")
    whole = None if readings.whole is None else masses(readings, readings.whole, "whole")
    wheels = None if readings.wheels is None else tuple(
        masses(readings, getattr(readings.wheels, w), f"wheels.{w}") for w in WHEELS
    )
    axles = None if readings.axles is None else tuple(
        masses(readings, getattr(readings.axles, end), f"axles.{end}") for end in ("front", "rear")
    )
    if wheels is None and axles is None and whole is None:
        raise BuildSheetError("nothing was weighed.", remedy="Give whole = [...], [wheels] or [axles].", field="whole")
    total = _total(whole, wheels, axles)
    check_total(total, sheet)
    _check_step(step, accuracy, total, readings.scale.step)
    for field, loads in (("wheels", wheels), ("axles", axles)):
        if loads is not None and whole is not None:
            check_sum(field, [float(np.mean(load)) for load in loads], float(np.mean(whole)), sheet, step)
    lengths = _lengths(readings, sheet)
    locked = readings.suspension == "locked"
    lifts = tuple(_lift(readings, lift, n, lengths, total) for n, lift in enumerate(readings.lift, start=1))
    return Weighing(
        step=step, accuracy=accuracy,
        ruler=ruler_limit(readings), protractor=protractor_limit(readings),
        whole=whole, wheels=wheels, axles=axles, wheelbase=lengths[0], tracks=lengths[1:3], radii=lengths[3:5],
        lifts=lifts, locked=locked, lean=0.0 if locked or not lifts else expected_lean(sheet, lengths[0].value),
    )  # fmt: skip


def _check_step(step: float, accuracy: float, total: float, raw: Reading) -> None:
    if 0.0 < step <= 0.05 * total and 0.0 <= accuracy <= 0.2 * total:
        return
    raise BuildSheetError(
        f"no scale that weighs a {grams(total)} truck has such steps or such errors.",
        remedy="step is the smallest change the display shows, accuracy its largest error; check both and their units.",
        field="scale.step", value=raw,
    )  # fmt: skip


def _total(whole: Vector | None, wheels: Sequence[Vector] | None, axles: Sequence[Vector] | None) -> float:
    if whole is not None:
        return float(np.mean(whole))
    return float(sum(np.mean(v) for v in (wheels or axles or ())))


def masses(readings: Readings, values: Sequence[Reading], field: str) -> Vector:
    """Read repeats of one mass, kg.

    :raises BuildSheetError: one of them cannot be, or is off the others by what a wrong unit makes.
    """
    found = readings.read_all("mass", values, field)
    if min(found) <= 0.0:
        raise BuildSheetError("is not more than nothing.",
                              remedy="Tare the empty scale, then load it; leave out what was not read.", field=field,
                              value=list(values))
    middle = float(np.median(found))
    for n, (value, raw) in enumerate(zip(found, values, strict=True), start=1):
        wrong = slip(value / middle) if len(found) > 2 else None
        if wrong is not None:
            raise BuildSheetError(f"is {wrong[1]} times off the other readings beside it.", remedy=wrong[2],
                                  field=f"{field}.{n}", value=raw)
    return np.array(found)


def _lengths(r: Readings, sheet: Sheet | None) -> tuple[Length, Length, Length, Length, Length]:
    within = ruler_limit(r)

    def one(value: Reading | None, field: str, on_sheet: float | None) -> Length:
        if value is not None:
            length = r.read("length", value, field)
            if length <= 0.0:
                raise BuildSheetError("is no length.", remedy="Measure again.", field=field, value=value)
            check_length(length, on_sheet, field, value)
            return Length(length, within, True)
        if on_sheet is None:
            raise BuildSheetError("was not measured, and there is no build sheet to take it from.",
                                  remedy=f'Add {field} = "... mm", or name the build sheet.', field=field)
        return Length(on_sheet, SHEET_LENGTH_MM / 1000.0, False)

    radii = (None, None) if sheet is None else standing_radii(sheet)
    front, rear = (None, None) if sheet is None else (sheet.axles.front.track_mm / 1e3, sheet.axles.rear.track_mm / 1e3)
    base = None if sheet is None else sheet.wheelbase_mm / 1e3
    return (
        one(r.wheelbase, "wheelbase", base),
        one(r.track_front, "track_front", front),
        one(r.track_rear, "track_rear", rear),
        one(r.axle_height_front, "axle_height_front", radii[0]),
        one(r.axle_height_rear, "axle_height_rear", radii[1]),
    )


def ruler_limit(readings: Readings) -> float:
    """How far (m) a length of this file may be off, plus or minus."""
    return _limit(readings, "length", readings.rulers.length, RULER_MM / 1000.0)


def protractor_limit(readings: Readings) -> float:
    """How far (rad) an angle of this file may be off, plus or minus."""
    return _limit(readings, "angle", readings.rulers.angle, math.radians(PROTRACTOR_DEG))


def _limit(readings: Readings, kind: Kind, value: Reading | None, otherwise: float) -> float:
    if value is None:
        return otherwise
    within = readings.read(kind, value, f"rulers.{kind}")
    if within < 0.0:
        raise BuildSheetError("is how far off, plus or minus.", remedy="Leave out the sign.", field=f"rulers.{kind}",
                              value=value)  # fmt: skip
    return within


def standing_radii(sheet: Sheet) -> tuple[float, float]:
    """Heights (m) of the front and rear wheel centres, the tyres squashed by the truck's own weight."""
    truck = truck_properties(sheet)
    share = truck.cg[0] / (sheet.wheelbase_mm / 1000.0)
    loads = (share * truck.weight / 2.0, (1.0 - share) * truck.weight / 2.0)
    found = []
    for tyre, load in zip((sheet.tyres.front, sheet.tyres.rear), loads, strict=True):
        shape, law = fit_tyre(tyre)
        found.append(tyre.outside_diameter_mm / 2000.0 - static_squish(shape, law, load))
    return found[0], found[1]


def _lift(readings: Readings, lift: Lift, number: int, lengths: tuple[Length, ...], total: float) -> LiftReading:
    field = f"lift.{number}"
    on = "front" if lift.raised == "rear" else "rear"
    if (lift.height is None) == (lift.angle is None):
        raise BuildSheetError("a lift has a height or an angle.",
                              remedy='Give one of height = "40 mm" or angle = "17 deg".', field=field)
    base, radii = lengths[0].value, (lengths[3].value, lengths[4].value)
    load = masses(readings, lift.load, f"{field}.load")
    if float(np.mean(load)) > total:
        raise BuildSheetError(
            f"one axle cannot carry {grams(float(np.mean(load)))} of a {grams(total)} truck.",
            remedy=(slip(float(np.mean(load)) / (0.55 * total)) or (0, "", "Check the number and its unit."))[2],
            field=f"{field}.load", value=list(lift.load),
        )  # fmt: skip
    if lift.height is not None:
        rise = readings.read("length", lift.height, f"{field}.height")
        down, raised = radii if on == "front" else radii[::-1]
        try:
            angle = lift_angle(rise, base, down, raised)
        except BuildSheetError as fault:
            raise BuildSheetError(fault.problem, remedy=fault.remedy, field=f"{field}.height",
                                  value=lift.height) from None
    else:
        rise, angle = None, readings.read("angle", lift.angle, f"{field}.angle")
    if not np.deg2rad(0.5) <= angle <= np.deg2rad(STEEPEST_DEG):
        raise BuildSheetError(
            f"a lift of {np.rad2deg(angle):.1f} deg is no lift that can be weighed (0.5 to {STEEPEST_DEG:.0f} deg).",
            remedy="Is it measured from the level, of the line through both axles? Is the unit right?",
            field=f"{field}.{'height' if lift.height is not None else 'angle'}",
            value=lift.height if lift.height is not None else lift.angle,
        )
    return LiftReading(on, rise, angle, load, lift.going, field)


def expected_lean(sheet: Sheet | None, wheelbase: float) -> float:
    """How much too high (m) free springs and tyres will make the lift read, as far as the sheet can tell.

    Half of :func:`models.bench.lifting.spring_lean`, which leaves out the links: on the whole linkage the statics of
    three trucks gave -0.2 to 0.9 of it. Without a sheet, a hundredth of the wheelbase (up to 3 to 8 mm have been seen;
    common practice, no source).
    """
    if sheet is None:
        return 0.01 * wheelbase
    truck, bodies = truck_properties(sheet), body_properties(sheet)
    sprung = bodies["chassis"]
    radii = standing_radii(sheet)
    axle_height = 0.5 * (radii[0] + radii[1])
    rates = tuple(axle_rate(sheet, end) for end in ("front", "rear"))
    return 0.5 * spring_lean(
        sprung.mass / truck.mass, float(sprung.cg[2]) - axle_height, truck.mass * GRAVITY,
        float(truck.cg[2]) - axle_height, (rates[0], rates[1]), wheelbase,
    )  # fmt: skip


def axle_rate(sheet: Sheet, end: str) -> float:
    """Vertical stiffness (N/m) of a whole axle: two springs, by the lean of the shocks, over two tyres."""
    axle = getattr(sheet.axles, end)
    tyre = getattr(sheet.tyres, end)
    springs = 2.0 * spring_rate(axle)
    tyres = 2.0 * tyre_rate(sheet, tyre)
    return float(1.0 / (1.0 / springs + 1.0 / tyres))


def spring_rate(axle: Axle) -> float:
    """Vertical stiffness (N/m) of one of its springs, by the lean of the shock."""
    top, foot = np.array(axle.shock.chassis_mm), np.array(axle.shock.axle_mm)
    upright = abs(top[2] - foot[2]) / float(np.linalg.norm(top - foot))
    return 1000.0 * axle.shock.rate_n_per_mm * upright**2


def tyre_rate(sheet: Sheet, tyre: Tyre) -> float:
    """Stiffness (N/m) of one tyre about a quarter of the truck's weight, from its squish table or its one number."""
    shape, law = fit_tyre(tyre)
    load = truck_properties(sheet).weight / 4.0
    return plate_stiffness(shape, law, static_squish(shape, law, load))
