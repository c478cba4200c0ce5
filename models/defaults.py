"""What a builder cannot measure: usual values for the truck's scale, filled in and listed as assumed.

What depends on the scale stands in ``typical.toml`` (see :mod:`models.typical`); the rest are usual values from memory
(common practice, no source) unless a comment says more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, TypeVar

from models.key import join, leading_somewhere
from models.spec import Axle, Sheet, Spec, Tyre
from models.typical import usual

GRIP_EXPONENT = 1.0 / 9.0
"""Real contact area of rough elastic surfaces grows with load as W^(8/9) when asperities carry asperities of one
smaller scale, so friction over load falls as W^(-1/9) (Archard, Proc. R. Soc. A 243 (1957) 190; from memory)."""
LOSS_FACTOR = 0.25
"""Loss over storage modulus of a soft filled tread with foam."""
CROWN_SHARE = 0.05
"""Drop of the tread's edge over its width."""
FOAM_SHARE = 1.5
"""Stiffness of a foam, once its gap has closed, over that of the carcass."""
HULL_GRIP = 0.4
"""Plastic or metal on rock."""
SHAFT_REDUCTION = 3.0
"""Axle gears, where no tooth counts are given."""
PORTAL_REDUCTION = 1.4
DRAG_BRAKE = 1.0
SHAFTS_TURN = "clockwise"
"""Seen from behind, driving forward: half of all trucks turn the other way (assumed; look at the shaft)."""
SERVO_SUPPLY_V = 6.0


def resolve(sheet: Sheet) -> Sheet:
    """Fill in what the sheet leaves open, and list in ``assumed`` what was filled and what is marked as assumed.

    A sheet that leaves nothing open comes back with the same values, so resolving twice changes nothing. A key in
    ``assumed`` that leads nowhere (its part was taken off) is dropped.
    """
    pen = _Pen()
    axles = {end: _axle(axle, end, sheet, pen) for end, axle in _ends(sheet.axles)}
    tyres = {end: pen.fill(tyre, ("tyres", end), _tyre_values(tyre, sheet)) for end, tyre in _ends(sheet.tyres)}
    supply = {"supply_v": min(SERVO_SUPPLY_V, sheet.battery.voltage_v)}
    resolved = {
        "axles": sheet.axles.model_copy(update=axles),
        "tyres": sheet.tyres.model_copy(update=tyres),
        "motor": pen.fill(sheet.motor, ("motor",), _of_scale("motor", sheet, "rotor_inertia_gcm2")),
        "battery": pen.fill(sheet.battery, ("battery",), _of_scale("battery", sheet, "resistance_ohm")),
        "driveline": pen.fill(sheet.driveline, ("driveline",), _driveline_values(sheet)),
        "servo": pen.fill(sheet.servo, ("servo",), supply),
        "hull": tuple(pen.fill(shape, ("hull", shape.name), {"grip": HULL_GRIP}) for shape in sheet.hull),
    }
    assumed = dict.fromkeys([*sheet.assumed, *pen.filled, *_marked(sheet)])
    filled = sheet.model_copy(update=resolved)
    data = filled.model_dump(by_alias=True)
    return filled.model_copy(update={"assumed": leading_somewhere(assumed, data)})


Filled = TypeVar("Filled", bound=Spec)


class _Pen:
    """Fills open keys of records and remembers which."""

    def __init__(self) -> None:
        self.filled: list[str] = []

    def fill(self, record: Filled, path: tuple[str, ...], values: dict[str, Any]) -> Filled:
        """Return the record with those of the values that it left open."""
        # A key with a plain default (a flat tread) counts as open while the sheet has not said it.
        left = {k: v for k, v in values.items() if getattr(record, k) is None or k not in record.model_fields_set}
        self.filled.extend(join([*path, key]) for key in left)
        return record.model_copy(update=left)


def _ends(pair: Any) -> Iterator[tuple[str, Any]]:
    yield "front", pair.front
    yield "rear", pair.rear


def _of_scale(table: str, sheet: Sheet, *names: str) -> dict[str, Any]:
    return {name: usual(f"{table}.{name}", sheet.scale) for name in names}


def _tyre_values(tyre: Tyre, sheet: Sheet) -> dict[str, Any]:
    rim = usual("tyre.rim_diameter_share", sheet.scale) * tyre.outside_diameter_mm
    values: dict[str, Any] = {
        "rim_diameter_mm": round(rim, 1),
        "crown_mm": round(CROWN_SHARE * tyre.width_mm, 2),
        "loss_factor": LOSS_FACTOR,
        "grip": usual("tyre.grip", sheet.scale) if sheet.grip is None else sheet.grip,
        "grip_pressure_exponent": GRIP_EXPONENT,
        **_of_scale("tyre", sheet, "grip_at_kpa"),
    }
    if tyre.squish is not None:  # the table is the whole law, foam and all
        return values
    stiffness = tyre.stiffness_n_per_mm or usual("tyre.stiffness_n_per_mm", sheet.scale)
    values["stiffness_n_per_mm"] = stiffness
    if tyre.foam_gap_mm is not None:
        values["foam_stiffness_n_per_mm"] = round(FOAM_SHARE * stiffness, 3)
    elif tyre.foam_stiffness_n_per_mm is not None:
        values["foam_gap_mm"] = 0.0
    return values


def _axle(axle: Axle, end: str, sheet: Sheet, pen: _Pen) -> Axle:
    path = ("axles", end)
    shock = pen.fill(axle.shock, (*path, "shock"), _of_scale("shock", sheet, "damping_ns_per_m"))
    values: dict[str, Any] = {}
    if end == "front":
        # The knuckle stands beside the tyre's inner face.
        tyre = sheet.tyres.front
        values["kingpin_y_mm"] = round(max(axle.track_mm / 2 - tyre.width_mm / 2, 0.25 * axle.track_mm), 1)
    if not any(shape.body == f"{end}_axle" for shape in sheet.hull):
        values["clearance_mm"] = round(usual("axle.clearance_mm", sheet.scale) + axle.portal_drop_mm, 1)
    return pen.fill(axle, path, values).model_copy(update={"shock": shock})


def _driveline_values(sheet: Sheet) -> dict[str, Any]:
    axle_gears = math.prod(driven / driving for driving, driven in sheet.driveline.rear_teeth)
    if not sheet.driveline.rear_teeth:
        axle_gears = SHAFT_REDUCTION * (PORTAL_REDUCTION if sheet.axles.rear.portal_drop_mm > 0 else 1.0)
    values = _of_scale("driveline", sheet, "efficiency", "shaft_stiffness_nm_per_rad")
    return {**values, "shaft_reduction": round(axle_gears, 4), "drag_brake": DRAG_BRAKE,
            "shafts_turn": SHAFTS_TURN}


def _marked(sheet: Sheet) -> Iterator[str]:
    """Name the parts and tyres that the sheet itself marks as assumed."""
    for part in sheet.parts:
        if part.source == "assumed":
            yield join(["parts", part.name])
    for end, tyre in _ends(sheet.tyres):
        if tyre.source == "assumed":
            yield f"tyres.{end}"
