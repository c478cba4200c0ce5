"""Readings with their units: ``"336 g"``, ``"11.9 oz"``, ``"54 oz·in"``, read through a units library, never guessed.

A number without a unit is refused unless the file declares one for its kind; so is a unit that could mean two things.
A kitchen scale shows mass and a luggage scale shows mass where a force is meant: a force may be written either way
(the trade's kg·cm is kilogram-force times centimetre), converted with standard gravity.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Literal

from models.errors import BuildSheetError

Kind = Literal["mass", "length", "angle", "force", "torque", "stiffness", "time", "speed", "voltage"]

_LONGEST = 40
_READING = re.compile(r"([+-]?\d+(?:\.\d+)?|[+-]?\.\d+)\s*(.*)")
_UNIT_LETTERS = re.compile(r"[A-Za-zµμ°'\"·*⋅×/^ \-.]{1,20}")

# Spellings of the bench, each with what the library calls it. What is missing here is refused.
_UNITS: dict[Kind, dict[str, str]] = {
    "mass": {"g": "g", "gram": "g", "grams": "g", "kg": "kg", "mg": "mg", "oz": "ounce", "lb": "pound", "lbs": "pound"},
    "length": {
        "mm": "mm", "cm": "cm", "m": "m", "in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "ft": "foot",
    },
    "angle": {"deg": "degree", "°": "degree", "degree": "degree", "degrees": "degree", "rad": "radian"},
    "force": {
        "N": "N", "gf": "gram_force", "kgf": "kilogram_force", "ozf": "ounce_force", "lbf": "pound_force",
        "g": "gram_force", "kg": "kilogram_force", "oz": "ounce_force", "lb": "pound_force", "lbs": "pound_force",
    },
    "torque": {
        "N·m": "N*m", "N·cm": "N*cm", "N·mm": "N*mm", "mN·m": "mN*m",
        "kg·cm": "kilogram_force*cm", "kgf·cm": "kilogram_force*cm", "kg·m": "kilogram_force*m",
        "g·cm": "gram_force*cm", "oz·in": "ounce_force*inch", "ozf·in": "ounce_force*inch",
        "lb·in": "pound_force*inch", "in·lb": "pound_force*inch", "in·oz": "ounce_force*inch",
        "lb·ft": "pound_force*foot", "ft·lb": "pound_force*foot",
    },
    "stiffness": {
        "N/mm": "N/mm", "N/m": "N/m", "N/cm": "N/cm", "g/mm": "gram_force/mm", "kg/mm": "kilogram_force/mm",
        "lb/in": "pound_force/inch", "lbf/in": "pound_force/inch", "oz/in": "ounce_force/inch",
    },
    "time": {"s": "s", "sec": "s", "ms": "ms", "min": "minute"},
    "speed": {"m/s": "m/s", "mm/s": "mm/s", "cm/s": "cm/s", "km/h": "km/hour", "mph": "mile/hour"},
    "voltage": {"V": "V", "mV": "mV"},
}  # fmt: skip
_EXAMPLE: dict[Kind, str] = {
    "mass": '"336 g"', "length": '"134 mm"', "angle": '"41.5 deg"', "force": '"1.2 kg" or "11.8 N"',
    "torque": '"2.1 kg·cm"', "stiffness": '"0.12 N/mm"', "time": '"2.5 s"', "speed": '"0.6 m/s"', "voltage": '"7.4 V"',
}  # fmt: skip
_TWO_MEANINGS = {
    "fl oz": "a fluid ounce is a volume: an ounce on a scale is oz (28.35 g)",
    "floz": "a fluid ounce is a volume: an ounce on a scale is oz (28.35 g)",
    "oz t": "a troy ounce (31.1 g) is not what kitchen scales show: convert it to grams",
    "ozt": "a troy ounce (31.1 g) is not what kitchen scales show: convert it to grams",
    "ton": "there are three tons: write kg",
    "pt": "a pint is a volume: write g, kg, oz or lb",
    "'": "a single stroke may mean feet or minutes of arc: write ft or deg",
    "c": "c may mean centi or a typing slip",
    "#": "write lb",
}


def si(kind: Kind, text: str, unit: str) -> float:
    """Convert a number text in a unit of the bench to SI (kg, m, rad, N, N m, N/m, s, m/s, V)."""
    return float(_factor(kind, unit) * float(text))


@lru_cache(maxsize=256)
def _factor(kind: Kind, unit: str) -> float:
    registry = _registry()
    base = {"mass": "kg", "length": "m", "angle": "rad", "force": "N", "torque": "N*m", "stiffness": "N/m",
            "time": "s", "speed": "m/s", "voltage": "V"}[kind]  # fmt: skip
    return float(registry.Quantity(1.0, _UNITS[kind][unit]).to(base).magnitude)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(on_redefinition="ignore")


def read(kind: Kind, value: object, field: str, declared: Mapping[str, str] | None = None) -> float:
    """Read one reading to SI.

    :param value: text with its unit, or a bare number if ``declared`` gives the unit of this kind.
    :param declared: the file's own ``[units]`` by kind.
    :raises BuildSheetError: no unit, an unknown or ambiguous one, one of another kind, or not one finite number.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise BuildSheetError("is not a reading.", remedy=f"Write it like {_EXAMPLE[kind]}.", field=field, value=value)
    text = str(value) if isinstance(value, str) else repr(value)
    number, unit = _split(kind, text.strip(), field)
    if not unit:
        unit = (declared or {}).get(kind, "")
        if not unit:
            raise BuildSheetError(
                "a number without a unit.",
                remedy=f"Write the unit, like {_EXAMPLE[kind]}, or declare one for the file: [units] {kind} = "
                f'"{next(iter(_UNITS[kind]))}".',
                field=field,
                value=value,
            )
    return si(kind, number, known_unit(kind, unit, field, value))


def _split(kind: Kind, text: str, field: str) -> tuple[str, str]:
    if re.search(r"\d\s*,\s*\d", text):
        raise BuildSheetError("a comma can be a decimal point or a thousands mark.",
                              remedy="Write decimals with a point and no thousands marks: 12.5 or 1250.", field=field,
                              value=text)
    found = _READING.fullmatch(text) if len(text) <= _LONGEST else None
    if found is None or not math.isfinite(float(found[1])):
        raise BuildSheetError("is not one number with a unit.", remedy=f"Write it like {_EXAMPLE[kind]}.", field=field,
                              value=text)
    return found[1], found[2].strip()


def known_unit(kind: Kind, unit: str, field: str, value: object) -> str:
    """Give the canonical spelling of a unit of this kind.

    :raises BuildSheetError: it is unknown, ambiguous, or measures something else.
    """
    spelled = re.sub(r"\s*[*⋅×.]\s*|(?<=[A-Za-z])[- ](?=[A-Za-z])", "·", unit.strip()).replace("μ", "µ")
    if spelled in _UNITS[kind]:
        return spelled
    raise BuildSheetError(_not_this(kind, unit, spelled), remedy=_advice(kind, unit, spelled), field=field, value=value)


def _not_this(kind: Kind, unit: str, spelled: str) -> str:
    others = [other for other, units in _UNITS.items() if spelled in units]
    if others:
        return f"{unit} measures {others[0]}, and this is a {kind}."
    if not _UNIT_LETTERS.fullmatch(unit):
        return "is not one number with a unit."
    return f"{unit} is no unit of {kind} known here."


def _advice(kind: Kind, unit: str, spelled: str) -> str:
    lower = unit.lower().strip()
    if kind == "mass" and spelled in ("N", "gf", "kgf", "ozf", "lbf"):
        return "That is a force; a scale shows mass: write g, kg, oz or lb."
    if lower in _TWO_MEANINGS:
        return f"{_TWO_MEANINGS[lower][0].upper()}{_TWO_MEANINGS[lower][1:]}."
    same = next((known for known in _UNITS[kind] if known.lower() == spelled.lower()), None)
    if same is not None:
        return f"Did you mean {same}? Capitals count in units."
    near = difflib.get_close_matches(spelled, _UNITS[kind], n=1, cutoff=0.75)
    known = ", ".join(dict.fromkeys(_UNITS[kind]))
    return f"Did you mean {near[0]}?" if near else f"Units of {kind}: {known}."
