"""Amounts that no truck of its scale has: nearly always a slip of the unit, and then which one."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from models.ends import ends
from models.errors import BuildSheetError
from models.key import join
from models.part_mass import all_grams, mass_key
from models.spec import PAIRED, Axle, HullShape, Part, Sheet
from models.typical import typical

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


def check_wheelbase(sheet: Sheet) -> None:
    """Check wheelbase and track against the scale.

    :raises BuildSheetError: a length far outside the scale's range, with the unit it looks like.
    """
    _check_length(sheet, "wheelbase_mm", sheet.wheelbase_mm, _WHEELBASE_MM)
    for end, axle, _ in ends(sheet):
        _check_length(sheet, f"axles.{end}.track_mm", axle.track_mm, _TRACK_MM)
    for end, _, tyre in ends(sheet):
        _check_length(sheet, f"tyres.{end}.outside_diameter_mm", tyre.outside_diameter_mm, 115.0)


def _check_length(sheet: Sheet, field: str, value: float, at_tenth: float) -> None:
    usual = at_tenth * _AT_SCALE / sheet.scale
    if 0.4 < value / usual < 2.5:
        return
    raise BuildSheetError(
        f"a 1/{sheet.scale:g} truck has about {usual:.0f} mm.",
        remedy=_length_slip(value, usual) or "Check the number, and scale: it is 24 for a 1/24 truck.", field=field,
        value=value,
    )


def _length_slip(value: float, usual: float) -> str:
    for factor, unit in ((10.0, "centimetres"), (25.4, "inches"), (1000.0, "metres")):
        if 0.6 < value * factor / usual < 1.7:
            return f"This looks like {unit}: {value:g} is {value * factor:.4g} mm."
    return ""


def place_checks(sheet: Sheet) -> list[Callable[[], None]]:
    """Checks that everything sits where the truck is and is no larger, and that wheels are on their axles."""
    return [
        *(partial(_check_place, sheet, field, place) for field, place in _places(sheet)),
        *(partial(_check_size, sheet, table, thing) for table, things in (("parts", sheet.parts), ("hull", sheet.hull))
          for thing in things),
        *(partial(_check_on_axle, part, sheet) for part in sheet.parts),
    ]  # fmt: skip


def _check_place(sheet: Sheet, field: list[str], place: Sequence[float]) -> None:
    base, track = sheet.wheelbase_mm, max(sheet.axles.front.track_mm, sheet.axles.rear.track_mm)
    limits = (("x", -base, 2 * base), ("y", -2 * track, 2 * track), ("z", 0.0, 2.5 * base))
    for value, (axis, low, high) in zip(place, limits, strict=True):
        if not low <= value <= high:
            raise BuildSheetError(
                f"is outside the truck ({low:g} to {high:g} mm).",
                remedy="Places are in mm from under the rear axle: x forward, y left, z up from the bench.",
                field=join([*field, axis]), value=value,
            )  # fmt: skip


def _check_size(sheet: Sheet, table: str, thing: Part | HullShape) -> None:
    if max(thing.size_mm) > 3 * sheet.wheelbase_mm:
        raise BuildSheetError(f"is far larger than the truck (wheelbase {sheet.wheelbase_mm:g} mm).",
                              remedy="Sizes are full length, width and height in mm.",
                              field=join([table, thing.name, "size_mm"]), value=thing.size_mm)


def _places(sheet: Sheet) -> Iterator[tuple[list[str], tuple[float, float, float]]]:
    """Give every place of the sheet with its key."""
    for part in sheet.parts:
        yield ["parts", part.name, "at_mm"], part.at_mm
    for end, axle, _ in ends(sheet):
        for link in axle.links:
            yield ["axles", end, "links", link.name, "chassis_mm"], link.chassis_mm
            yield ["axles", end, "links", link.name, "axle_mm"], link.axle_mm
        yield ["axles", end, "shock", "chassis_mm"], axle.shock.chassis_mm
        yield ["axles", end, "shock", "axle_mm"], axle.shock.axle_mm
    for shape in sheet.hull:
        yield ["hull", shape.name, "at_mm"], shape.at_mm


def _check_on_axle(part: Part, sheet: Sheet) -> None:
    if part.body not in PAIRED:
        _check_on_housing(part, sheet)
        return
    end, axle, tyre = ends(sheet)[1 if part.body == "rear_wheels" else 0]
    off = abs(part.at_mm[0] - axle.x_mm)
    if off > tyre.outside_diameter_mm / 2:
        raise BuildSheetError(f"is {off:g} mm away from the {end} axle, at x = {axle.x_mm:g}.",
                              remedy="Places count from the rear axle, forwards; a wheel or knuckle sits at its axle.",
                              field=join(["parts", part.name, "at_mm", "x"]), value=part.at_mm[0])
    reach = axle.track_mm / 2 + tyre.width_mm
    if part.at_mm[1] > reach:
        raise BuildSheetError(f"is outside the {end} tyre, whose middle is at y = {axle.track_mm / 2:g}.",
                              remedy="y is from the truck's middle to the left: half the track for a wheel.",
                              field=join(["parts", part.name, "at_mm", "y"]), value=part.at_mm[1])


def _check_on_housing(part: Part, sheet: Sheet) -> None:
    """What rides on an axle is near it: a battery there would go up and down with the wheels."""
    if part.body == "chassis":
        return
    axle = sheet.axles.front if part.body == "front_axle" else sheet.axles.rear
    off = abs(part.at_mm[0] - axle.x_mm) - part.size_mm[0] / 2
    if off > 0.5 * sheet.wheelbase_mm:
        raise BuildSheetError(f"rides on {part.body} but is {abs(part.at_mm[0] - axle.x_mm):g} mm away from it.",
                              remedy='What is screwed to the frame has body = "chassis" (or none); else check at_mm.',
                              field=join(["parts", part.name, "at_mm", "x"]), value=part.at_mm[0])


def amount_checks(sheet: Sheet) -> list[Callable[[], None]]:
    """Checks of masses, springs, motor and servo against the scale."""
    return [
        *(partial(_check_mass, sheet, part) for part in sheet.parts), partial(_check_servo, sheet),
        *(partial(_check_spring, sheet, end, axle) for end, axle, _ in ends(sheet)), partial(_check_kv, sheet),
    ]  # fmt: skip


def _check_mass(sheet: Sheet, part: Part) -> None:
    usual = usual_mass_g(sheet.scale)
    key = mass_key(part.body)
    grams = getattr(part, key)
    if grams > 2.0 * usual:
        raise BuildSheetError(f"a whole 1/{sheet.scale:g} truck has about {usual:.0f} g.",
                              remedy=f"{key} is in grams: was it typed in milligrams, or without its decimal point?",
                              field=join(["parts", part.name, key]), value=grams)


def _check_kv(sheet: Sheet) -> None:
    if sheet.motor.kv_rpm_per_v < 150:
        raise BuildSheetError(
            "no motor of these trucks turns that slowly.",
            remedy="kv_rpm_per_v is revolutions a minute for each volt, not the number of turns of wire.",
            field="motor.kv_rpm_per_v", value=sheet.motor.kv_rpm_per_v,
        )  # fmt: skip


def _check_spring(sheet: Sheet, end: str, axle: Axle) -> None:
    """A spring that holds the truck far above or far below any that its makers fit."""
    rate = axle.shock.rate_n_per_mm
    usual = typical("shock.rate_n_per_mm", sheet.scale)
    if usual.low / 2.5 <= rate <= usual.high * 8.0:
        return
    slips = ((0.001, "N/m"), (0.1751, "lb/in"), (9.80665, "kg/mm"), (0.00980665, "g/mm"), (0.1, "N/cm"))
    # A usual spring in another unit first, then one that is up to twice as hard or as soft.
    remedy = next((f"If that is in {unit}, write {rate * factor:.3g}." for wide in (1.0, 2.0) for factor, unit in slips
                   if usual.low / wide <= rate * factor <= wide * usual.high),
                  "rate_n_per_mm is newtons for each millimetre: check the unit and the decimal point.")
    raise BuildSheetError(f"springs of 1/{sheet.scale:g} trucks have {usual.low:g} to {usual.high:g} N/mm.",
                          remedy=remedy, field=f"axles.{end}.shock.rate_n_per_mm", value=rate)


def check_density(part: Part) -> None:
    """Check that a part is not denser than tungsten or lighter than foam.

    :raises BuildSheetError: it is.
    """
    key = mass_key(part.body)
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
    raise BuildSheetError(f"in {volume:.3g} cm³ that is {density:.2g} g/cm³, {problem}.", remedy=remedy,
                          field=join(["parts", part.name, key]), value=grams)


def check_total(sheet: Sheet) -> None:
    """Check the sum of the parts.

    :raises BuildSheetError: a mass no such truck has, with the unit it looks like.
    """
    usual, total = usual_mass_g(sheet.scale), sum(all_grams(part) for part in sheet.parts)
    for axle in (sheet.axles.front, sheet.axles.rear):
        total += sum(link.mass_g for link in axle.links) + 2.0 * axle.shock.mass_g
    if 0.2 < total / usual < 5.0:
        return
    remedy = "Masses are in grams; check the heaviest parts, and that no part is missing."
    for factor, unit in ((1000.0, "kilograms"), (28.35, "ounces")):
        if 0.33 < total * factor / usual < 3.0:
            remedy = f"These look like {unit}: masses are in grams."
            break
    raise BuildSheetError(f"the parts sum to {total:.3g} g; a 1/{sheet.scale:g} truck has about {usual:.0f} g.",
                          remedy=remedy, field="parts")


def _check_servo(sheet: Sheet) -> None:
    usual = _STALL_KGCM * (_AT_SCALE / sheet.scale) ** math.log(15.0 / 2.0, 2.4)
    stall = sheet.servo.stall_kgcm
    if stall <= 6.0 * usual:
        return
    units = [f"in {unit}, write {stall / factor:.2g}" for factor, unit in ((13.887, "oz·in"), (9.80665, "N·cm"), (
        98.0665, "N·mm")) if 0.25 * usual <= stall / factor <= 3.0 * usual]  # fmt: skip
    raise BuildSheetError(
        f"a strong servo of this scale has about {usual:.0f} kg·cm.",
        remedy=f"If it is {', or '.join(units)}." if units else "Check the unit and the decimal point.",
        field="servo.stall_kgcm", value=stall,
    )
