"""Amounts that no truck of its scale has: nearly always a slip of the unit, and then which one."""

from __future__ import annotations

import math
from collections.abc import Iterator

from models.errors import BuildSheetError
from models.key import join
from models.spec import PAIRED, Part, Sheet

# Usual figures at 1/10 and how they shrink with the scale: small trucks are relatively light, lengths go as the scale.
_MASS_G, _WHEELBASE_MM, _TRACK_MM, _STALL_KGCM, _AT_SCALE = 3000.0, 313.0, 200.0, 15.0, 10.0
_MASS_POWER = 2.5


TUNGSTEN = 19.5
"""g/cm^3."""
LIGHTEST = 0.004
"""g/cm^3 over the box around a part: foam has 0.02, but a part need not fill its box."""


def usual_mass_g(scale: float) -> float:
    """Usual mass of a truck of this scale: about 3 kg at 1/10 and 335 g at 1/24 (common practice, no source)."""
    return float(_MASS_G * (_AT_SCALE / scale) ** _MASS_POWER)


def _scale_text(sheet: Sheet) -> str:
    return f"1/{sheet.scale:g}"


def check_wheelbase(sheet: Sheet) -> None:
    """Check wheelbase and track against the scale.

    :raises BuildSheetError: a length far outside the scale's range, with the unit it looks like.
    """
    _check_length(sheet, "wheelbase_mm", sheet.wheelbase_mm, _WHEELBASE_MM)
    _check_length(sheet, "axles.front.track_mm", sheet.axles.front.track_mm, _TRACK_MM)
    _check_length(sheet, "axles.rear.track_mm", sheet.axles.rear.track_mm, _TRACK_MM)
    for end, tyre in (("front", sheet.tyres.front), ("rear", sheet.tyres.rear)):
        _check_length(sheet, f"tyres.{end}.outside_diameter_mm", tyre.outside_diameter_mm, 115.0)


def _check_length(sheet: Sheet, field: str, value: float, at_tenth: float) -> None:
    usual = at_tenth * _AT_SCALE / sheet.scale
    if 0.4 < value / usual < 2.5:
        return
    raise BuildSheetError(
        f"a 1/{sheet.scale:g} truck has about {usual:.0f} mm.",
        remedy=_length_slip(value, usual) or "Check the number, and scale: it is 24 for a 1/24 truck.",
        field=field,
        value=value,
    )


def _length_slip(value: float, usual: float) -> str:
    for factor, unit in ((10.0, "centimetres"), (25.4, "inches"), (1000.0, "metres")):
        if 0.6 < value * factor / usual < 1.7:
            return f"This looks like {unit}: {value:g} is {value * factor:.4g} mm."
    return ""


def check_places(sheet: Sheet) -> None:
    """Check that everything sits where the truck is and is no larger, and that wheels are on their axles.

    :raises BuildSheetError: a place far outside the truck or under the ground, or a wheel away from its axle.
    """
    base, track = sheet.wheelbase_mm, max(sheet.axles.front.track_mm, sheet.axles.rear.track_mm)
    limits = (("x", -base, 2 * base), ("y", -2 * track, 2 * track), ("z", 0.0, 2.5 * base))
    for field, place in _places(sheet):
        for value, (axis, low, high) in zip(place, limits, strict=True):
            if not low <= value <= high:
                raise BuildSheetError(
                    f"is outside the truck ({low:g} to {high:g} mm).",
                    remedy="Places are in mm from under the rear axle: x forward, y left, z up from the bench.",
                    field=join([*field, axis]),
                    value=value,
                )
    for table, things in (("parts", sheet.parts), ("hull", sheet.hull)):
        for thing in things:
            if max(thing.size_mm) > 3 * base:
                raise BuildSheetError(
                    f"is far larger than the truck (wheelbase {base:g} mm).",
                    remedy="Sizes are full length, width and height in mm.",
                    field=join([table, thing.name, "size_mm"]),
                    value=thing.size_mm,
                )
    for part in sheet.parts:
        _check_on_axle(part, sheet)


def _places(sheet: Sheet) -> Iterator[tuple[list[str], tuple[float, float, float]]]:
    """Give every place of the sheet with its key."""
    for part in sheet.parts:
        yield ["parts", part.name, "at_mm"], part.at_mm
    for end, axle in (("front", sheet.axles.front), ("rear", sheet.axles.rear)):
        for link in axle.links:
            yield ["axles", end, "links", link.name, "chassis_mm"], link.chassis_mm
            yield ["axles", end, "links", link.name, "axle_mm"], link.axle_mm
        yield ["axles", end, "shock", "chassis_mm"], axle.shock.chassis_mm
        yield ["axles", end, "shock", "axle_mm"], axle.shock.axle_mm
    for shape in sheet.hull:
        yield ["hull", shape.name, "at_mm"], shape.at_mm


def _check_on_axle(part: Part, sheet: Sheet) -> None:
    if part.body not in PAIRED:
        return
    end = "rear" if part.body == "rear_wheels" else "front"
    axle, tyre = (sheet.axles.rear, sheet.tyres.rear) if end == "rear" else (sheet.axles.front, sheet.tyres.front)
    off = abs(part.at_mm[0] - axle.x_mm)
    if off > tyre.outside_diameter_mm / 2:
        raise BuildSheetError(
            f"is {off:g} mm away from the {end} axle, at x = {axle.x_mm:g}.",
            remedy="Places count from the rear axle, forwards; a wheel or knuckle sits at its axle.",
            field=join(["parts", part.name, "at_mm", "x"]),
            value=part.at_mm[0],
        )
    reach = axle.track_mm / 2 + tyre.width_mm
    if part.at_mm[1] > reach:
        raise BuildSheetError(
            f"is outside the {end} tyre, whose middle is at y = {axle.track_mm / 2:g}.",
            remedy="y is from the truck's middle to the left: half the track for a wheel.",
            field=join(["parts", part.name, "at_mm", "y"]),
            value=part.at_mm[1],
        )


def check_amounts(sheet: Sheet) -> None:
    """Check masses, motor and servo against the scale.

    :raises BuildSheetError: an amount no such truck has, with the unit it looks like.
    """
    usual = usual_mass_g(sheet.scale)
    for part in sheet.parts:
        key = "mass_each_g" if part.body in PAIRED else "mass_g"
        grams = getattr(part, key)
        if grams > 2.0 * usual:
            raise BuildSheetError(
                f"a whole {_scale_text(sheet)} truck has about {usual:.0f} g.",
                remedy=f"{key} is in grams: was it typed in milligrams, or without its decimal point?",
                field=join(["parts", part.name, key]),
                value=grams,
            )
    _check_total(sheet, usual)
    for part in sheet.parts:
        _check_density(part)
    _check_servo(sheet)
    if sheet.motor.kv_rpm_per_v < 150:
        raise BuildSheetError(
            "no motor of these trucks turns that slowly.",
            remedy="kv_rpm_per_v is revolutions a minute for each volt, not the number of turns of wire.",
            field="motor.kv_rpm_per_v",
            value=sheet.motor.kv_rpm_per_v,
        )


def _check_density(part: Part) -> None:
    key = "mass_each_g" if part.body in PAIRED else "mass_g"
    grams = getattr(part, key)
    volume = math.prod(part.size_mm) / 1000.0
    if part.shape in ("cylinder", "ring"):
        volume *= math.pi / 4.0 * (1.0 - (part.bore_mm / part.size_mm[0]) ** 2 if part.size_mm[0] else 1.0)
    if volume <= 0.0 or grams <= 0.0:
        return
    density = grams / volume
    if density > TUNGSTEN:
        problem, remedy = "denser than tungsten", "Check the mass, and that size_mm is in millimetres."
    elif density < LIGHTEST and part.shape != "shell":
        problem = "far lighter than foam"
        remedy = f"{key} is in grams: was it typed in kilograms, or size_mm too large?"
    else:
        return
    raise BuildSheetError(
        f"in {volume:.3g} cm³ that is {density:.2g} g/cm³, {problem}.",
        remedy=remedy,
        field=join(["parts", part.name, key]),
        value=grams,
    )


def _check_total(sheet: Sheet, usual: float) -> None:
    total = sum((part.mass_g or 0.0) + 2.0 * (part.mass_each_g or 0.0) for part in sheet.parts)
    for axle in (sheet.axles.front, sheet.axles.rear):
        total += sum(link.mass_g for link in axle.links) + 2.0 * axle.shock.mass_g
    if 0.2 < total / usual < 5.0:
        return
    remedy = "Masses are in grams; check the heaviest parts, and that no part is missing."
    for factor, unit in ((1000.0, "kilograms"), (28.35, "ounces")):
        if 0.33 < total * factor / usual < 3.0:
            remedy = f"These look like {unit}: masses are in grams."
            break
    raise BuildSheetError(
        f"the parts sum to {total:.3g} g; a {_scale_text(sheet)} truck has about {usual:.0f} g.",
        remedy=remedy,
        field="parts",
    )


def _check_servo(sheet: Sheet) -> None:
    usual = _STALL_KGCM * (_AT_SCALE / sheet.scale) ** math.log(15.0 / 2.0, 2.4)
    stall = sheet.servo.stall_kgcm
    if stall <= 6.0 * usual:
        return
    raise BuildSheetError(
        f"a strong servo of this scale has about {usual:.0f} kg·cm.",
        remedy=f"If it is in ounce-inches, write {stall / 13.887:.2g} (1 kg·cm is 13.9 oz·in).",
        field="servo.stall_kgcm",
        value=stall,
    )
