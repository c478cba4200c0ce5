"""Measurements of tyres, grip and tilt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np

from models.bench.interval import Interval
from models.bench.measure_chassis import protractor, ruler
from models.bench.measurement import Measurement, Setting, mapped, mean_of
from models.bench.readings import Readings, Side
from models.errors import BuildSheetError
from models.massprops import contact_places, truck_properties, wheel_loads
from models.spec import Sheet
from models.stability import tip_angles
from models.stance import stances


def squish(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Squish tables."""
    found = []
    for n, entry in enumerate(readings.squish, start=1):
        field = f"squish.{n}.rows"
        rows = []
        for k, (load, travel) in enumerate(entry.rows, start=1):
            grams = 1000.0 * readings.read("mass", load, f"{field}.{k}")
            rows.append((round(grams, 1), round(1000.0 * readings.read("length", travel, f"{field}.{k}"), 3)))
        rows.sort()
        _check_rows(rows, field, getattr(sheet.tyres, entry.axle).outside_diameter_mm)
        path = ("tyres", entry.axle)
        settings = (
            Setting((*path, "squish"), [list(row) for row in rows], "measured"),
            # The table says it all: what stood for it goes.
            *(Setting((*path, key), None, "measured") for key in _STIFFNESSES),
            Setting((*path, "source"), "measured", "measured"),
        )
        quarter = 1000.0 * truck_properties(sheet).mass / 4.0
        at = float(np.interp(quarter, [0.0, *(r[0] for r in rows)], [0.0, *(r[1] for r in rows)]))
        stance = stances(sheet, wheel_loads(sheet))[0 if entry.axle == "front" else 1]
        # 5 % of the load and 0.3 mm are typical (common practice, no source).
        doubt = math.hypot(0.3 / math.sqrt(3.0), 0.05 / math.sqrt(3.0) * at)
        found.append(Measurement(
            "squish", f"{entry.axle} tyre squish under a quarter of the truck", "mm",
            Interval.around(at, doubt), 1000.0 * stance.squish, settings,
        ))  # fmt: skip
    return found


_STIFFNESSES = ("stiffness_n_per_mm", "foam_gap_mm", "foam_stiffness_n_per_mm")


def _check_rows(rows: list[tuple[float, float]], field: str, diameter: float) -> None:
    for (load, travel), (more, further) in zip([(0.0, 0.0), *rows], rows, strict=False):
        if more <= load or further <= travel:
            raise BuildSheetError(f"{more:g} g presses the tyre {further:g} mm, {load:g} g already {travel:g} mm.",
                                  remedy="More load squishes more: check the rows (load, deflection).", field=field,
                                  value=rows)
    if rows[-1][1] > 0.35 * diameter:
        raise BuildSheetError(f"{rows[-1][1]:g} mm is more than a {diameter:g} mm tyre can be squished.",
                              remedy="Is the deflection in the right unit, and measured from the first touch?",
                              field=field, value=rows)


def foam_gap(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Room between foam and carcass."""
    found = []
    for n, entry in enumerate(readings.foam_gap, start=1):
        foam, tyre, thick = (
            readings.read("length", getattr(entry, key), f"foam_gap.{n}.{key}")
            for key in ("foam_diameter", "tyre_diameter", "tread_thickness")
        )
        gap = tyre / 2.0 - thick - foam / 2.0
        if gap < -0.15 * tyre:
            raise BuildSheetError(f"the foam would be {-2000 * gap:.0f} mm too large for the tyre.",
                                  remedy="foam_diameter is the free foam's outside, tread_thickness one wall's.",
                                  field=f"foam_gap.{n}")
        doubt = 1000.0 * ruler(readings) * math.sqrt(1.5)
        # A foam larger than the carcass carries from the first touch on.
        value = 1000.0 * max(gap, 0.0)
        on_sheet = getattr(sheet.tyres, entry.axle)
        table = on_sheet.squish is not None or any(s.axle == entry.axle for s in readings.squish)
        setting = Setting(("tyres", entry.axle, "foam_gap_mm"), round(value, 2), "measured")
        found.append(Measurement(
            "foam_gap", f"{entry.axle} foam gap", "mm",
            Interval.around(1000.0 * gap, doubt), on_sheet.foam_gap_mm, () if table else (setting,),
            "the squish table holds the foam's part already" if table else "",
        ))  # fmt: skip
    return found


def slip_board(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Friction from the angle of first slip."""
    found = []
    fronts = stances(sheet, wheel_loads(sheet))
    for n, entry in enumerate(readings.slip_board, start=1):
        field = f"slip_board.{n}.angles"
        angles = readings.read_all("angle", entry.angles, field)
        if not 0.0 < min(angles) <= max(angles) < math.radians(72.0):
            raise BuildSheetError("is no angle of first slip.",
                                  remedy="Angles of the board from level, 20 to 60 deg as a rule.", field=field,
                                  value=list(entry.angles))
        grip = mapped(mean_of(angles, protractor(readings)), math.tan)
        settings: list[Setting] = []
        for end, stance in zip(("front", "rear"), fronts, strict=True):
            if entry.axle in (None, end) and n == 1 + _first(readings, end):
                pressure = stance.load / stance.patch_area * math.cos(math.atan(grip.value)) / 1000.0
                settings += [
                    Setting(("tyres", end, "grip"), round(grip.value, 3), "measured",
                            f"{entry.surface}, {grip.low:.2f} to {grip.high:.2f}"),
                    Setting(("tyres", end, "grip_at_kpa"), float(f"{pressure:.3g}"), "measured"),
                ]  # fmt: skip
        says = getattr(sheet.tyres, entry.axle or "front").grip
        remark = "another day gives 10 to 20 % more or less (dust, heat, wear)"
        if not settings:
            remark += "; the sheet keeps the first surface of the file"
        found.append(Measurement("slip_board", f"grip on {entry.surface}", "", grip, says, tuple(settings), remark))
    return found


def _first(readings: Readings, end: str) -> int:
    return next(n for n, entry in enumerate(readings.slip_board) if entry.axle in (None, end))


@dataclass(frozen=True)
class TiltReading:
    """Board angles of one direction; rad."""

    to: str
    angle: Interval
    field: str


def tilt_readings(readings: Readings) -> list[TiltReading]:
    """Angles at which the truck tipped.

    :raises BuildSheetError: an angle that no board has.
    """
    found = []
    given = [(f"tilt.{n}.angles", entry.to, entry.angles) for n, entry in enumerate(readings.tilt, start=1)]
    once = ((side, getattr(readings, f"tipped_{side}")) for side in _WHERE)
    given += [(f"tipped_{side}", cast(Side, side), (angle,)) for side, angle in once if angle is not None]
    for field, to, raw in given:
        many = field.endswith(".angles")
        angles = readings.read_all("angle", raw, field) if many else [readings.read("angle", raw[0], field)]
        if not math.radians(10.0) < min(angles) <= max(angles) < math.radians(85.0):
            raise BuildSheetError(
                "no truck tips there.",
                remedy="Give the board's angle from level (35 to 50 deg sideways, 45 to 65 deg climbing are usual).",
                field=field, value=list(raw),
            )  # fmt: skip
        # 1 deg for a phone held by hand, beside what the file says of its protractor.
        own = max(protractor(readings), math.radians(1.0) / math.sqrt(3.0))
        found.append(TiltReading(to, mean_of(angles, own), field))
    return found


def tilt(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Tip angles against the rigid truck, and the height that a rigid truck would need for them."""
    truck = truck_properties(sheet)
    places = contact_places(sheet)
    rigid = tip_angles(places, truck.cg)
    found = []
    for entry in tilt_readings(readings):
        expected = getattr(rigid, entry.to)
        lever = math.tan(expected) * float(truck.cg[2])
        bound = 1000.0 * lever / math.tan(entry.angle.value)
        found.append(Measurement(
            "tilt", f"tips {_WHERE[entry.to]}", "deg", entry.angle.times(180.0 / math.pi), math.degrees(expected),
            remark=f"a rigid truck would have its centre of gravity {bound:.1f} mm up (sheet {1e3 * truck.cg[2]:.1f}); "
            "give in springs and tyres makes that an upper limit",
        ))  # fmt: skip
    return found


_WHERE = {"left": "over its left side", "right": "over its right side", "back": "backwards, climbing",
          "front": "over its nose"}  # fmt: skip
