"""What the validator found, in the builder's words: the problem and the remedy."""

from __future__ import annotations

import typing
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from models.nearest import meant, nearest
from models.toml_slips import value_slip

UNITS: dict[str, str] = {
    "_kgcm": "kilogram-centimetres (kg·cm)",
    "_s_per_60deg": "seconds for 60 degrees",
    "_rpm_per_v": "revolutions a minute per volt",
    "_n_per_mm": "newtons per millimetre",
    "_ns_per_m": "newton-seconds per metre",
    "_nm_per_rad": "newton-metres per radian",
    "_gcm2": "gram-centimetres squared",
    "_each_g": "grams, for one of the pair",
    "_percent": "percent",
    "_ohm": "ohms",
    "_deg": "degrees",
    "_kpa": "kilopascals",
    "_mm": "millimetres",
    "_g": "grams",
    "_n": "newtons",
    "_v": "volts",
    "_a": "amperes",
}
"""Ending of a key and the unit it promises, longest endings first."""


def unit_of(key: str) -> str | None:
    """Name the unit a key's ending promises, or None."""
    return next((unit for ending, unit in UNITS.items() if key.endswith(ending)), None)


def in_words(kind: type[BaseModel], detail: ErrorDetails) -> tuple[str, str]:
    """Turn one finding of the validator into a problem and its remedy."""
    location, fault = detail["loc"], detail["type"]
    key = next((str(step) for step in reversed(location) if isinstance(step, str)), "")
    context = detail.get("ctx", {})
    if fault == "extra_forbidden":
        return _unknown(kind, location)
    if fault == "missing":
        return _missing(kind, location, key)
    if fault in _BOUNDS:
        limit = next(iter(context.values()))
        return f"must be {_BOUNDS[fault]} {_plain(limit)}.", _range_remedy(key)
    if fault in _TYPES:
        return _TYPES[fault], _type_remedy(key, detail["input"])
    if fault == "literal_error":
        allowed = str(context["expected"]).replace("'", '"')
        return f"must be {allowed}.", _nearest(detail["input"], context["expected"])
    if fault in ("too_short", "too_long"):
        return _length(kind, location, key)
    said = detail["msg"].removeprefix("Value error, ")
    return f"{said[0].lower()}{said[1:].removesuffix('?')}{'?' if said.endswith('?') else '.'}", ""


_BOUNDS = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}

_TYPES = {
    "float_type": "must be a number.",
    "float_parsing": "must be a number.",
    "int_type": "must be a whole number.",
    "int_from_float": "must be a whole number.",
    "finite_number": "must be a finite number.",
    "string_type": "must be text in quotes.",
    "string_too_short": "must not be empty.",
    "string_too_long": "is too long a text.",
    "bool_type": "must be true or false.",
    "tuple_type": "must be a list in square brackets.",
    "model_type": "must be a table.",
    "dict_type": "must be a table.",
}


def _plain(number: Any) -> str:
    return f"{number:g}" if isinstance(number, int | float) else str(number)


def _range_remedy(key: str) -> str:
    unit = unit_of(key)
    if unit:
        return f"{key} is in {unit}; check the unit, the sign and the decimal point."
    return "Check the sign and the decimal point."


def _type_remedy(key: str, value: Any) -> str:
    unit = unit_of(key)
    slip = value_slip(f"{key} = {value}") if isinstance(value, str) else None
    if slip is not None and not slip[0].endswith("behind it."):
        return slip[1]
    if isinstance(value, str) and unit:
        return f"Write the bare number, in {unit}, without quotes or unit."
    if isinstance(value, str):
        return "Write it without quotes."
    if key.endswith("_mm") and isinstance(value, int | float):
        return "Write all its numbers as a list, like [12, 0, 45]."
    return f"It is in {unit}." if unit else "See the example sheets for how this key is written."


def _missing(kind: type[BaseModel], location: Sequence[str | int], key: str) -> tuple[str, str]:
    if location and isinstance(location[-1], int):
        if key == "links":
            return _length(kind, location, key)
        return "has too few numbers.", "A place or size is three numbers, [x, y, z], in millimetres."
    field = _fields(kind, location[:-1]).get(key)
    below = _record_in(field.annotation) if field else None
    if key == "schema":
        return "is missing.", "Put `schema = 1` on the first line: it says which form of sheet this is."
    if below is not None:
        table = ".".join(str(step) for step in location if isinstance(step, str))
        needs = ", ".join(name for name, f in _by_key(below).items() if f.is_required())
        if location[-1] in ("parts", "hull"):
            return "is missing.", f"Add a [[{table}]] entry for each part with {needs}."
        if table in ("axles", "tyres"):
            needs = {"axles": "track_mm", "tyres": "outside_diameter_mm, width_mm"}[table]
            return "is missing.", f"Add the tables [{table}.front] and [{table}.rear], each with {needs}."
        return "is missing.", f"Add the table [{table}] with {needs}."
    unit = unit_of(key)
    return "is missing.", f"Add `{key} = ...`" + (f", in {unit}." if unit else ".")


def _length(kind: type[BaseModel], location: Sequence[str | int], key: str) -> tuple[str, str]:
    if key == "links":
        return "four links hold an axle.", "Give each of the two lower and two upper rods its own [[...links]] entry."
    if key == "parts":
        return "there are no parts.", "Add at least one [[parts]] entry for each body."
    if key.endswith("_mm"):
        return ("has the wrong number of numbers.",
                "Give as many as in [12.5, 0, 45]; decimals have a point: 17,5 in a list are two numbers.")
    return "has the wrong number of entries.", "See the example sheets for how this key is written."


def _unknown(kind: type[BaseModel], location: Sequence[str | int]) -> tuple[str, str]:
    fields = _fields(kind, location[:-1])
    known = list(fields)
    near = nearest(str(location[-1]), known)
    if near:
        table = ".".join(str(step) for step in (*location[:-1], near) if isinstance(step, str))
        several = typing.get_origin(fields[near].annotation) is tuple and _record_in(fields[near].annotation)
        return "there is no such key.", f"Did you mean {f'[[{table}]]' if several else near}?"
    return "there is no such key.", f"Known here: {', '.join(known)}."


def _nearest(value: Any, expected: str) -> str:
    allowed = [word.strip("' ") for word in expected.replace(" or ", ", ").split(",")]
    return meant(str(value), allowed, "")


def _fields(kind: type[BaseModel], location: Sequence[str | int]) -> dict[str, FieldInfo]:
    """Give the fields of the record at a place, by the key they have in the file."""
    for step in location:
        if isinstance(step, str):
            field = _by_key(kind).get(step)
            below = _record_in(field.annotation) if field else None
            if below is None:
                return {}
            kind = below
    return _by_key(kind)


def _by_key(kind: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or name: field for name, field in kind.model_fields.items()}


def _record_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for a in typing.get_args(annotation) if (found := _record_in(a)) is not None), None)
