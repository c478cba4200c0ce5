"""What people type into a field: a number with a comma or a point, with or without a unit."""

from __future__ import annotations

import re

from starlette.datastructures import FormData

from models.bench.quantity import Kind, read
from models.bench.typed_readings import with_point
from models.errors import BuildSheetError
from sim.errors import SimError

ENDINGS: tuple[tuple[str, Kind, str, float], ...] = (
    ("_n_per_mm", "stiffness", "N/mm", 1e-3),
    ("_kgcm", "torque", "kg·cm", 1.0 / 0.0980665),
    ("_deg", "angle", "deg", 57.29577951308232),
    ("_mm", "length", "mm", 1e3),
    ("_g", "mass", "g", 1e3),
    ("_v", "voltage", "V", 1.0),
)
"""Ending of a key, its kind, its unit where none is typed, and what takes SI to that unit."""
_PLAIN = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?")


def unit_of(key: str) -> str:
    """Unit that is meant where none is typed; empty for a bare number."""
    return next((unit for ending, _, unit, _ in ENDINGS if key.endswith(ending)), "")


def number(text: str, key: str) -> float:
    """Read a typed value into the unit that the key's ending names.

    :raises BuildSheetError: not one number, a unit of something else, or a comma with two meanings.
    """
    tidy = with_point(text.strip().replace(" ", " ").replace("−", "-"), key)
    for ending, kind, unit, factor in ENDINGS:
        if key.endswith(ending):
            return float(f"{read(kind, tidy, key, {kind: unit}) * factor:.10g}")
    if _PLAIN.fullmatch(tidy) is None:
        raise BuildSheetError("is not a number.", remedy="Write it like 0.14 or 0,14.", field=key, value=text)
    return float(tidy)


def field_text(form: FormData, key: str, default: str | None = None) -> str:
    """What stands in a field of a form, as it was typed.

    :raises SimError: It is missing, or longer than anything one types.
    """
    found = form.get(key, default)
    if not isinstance(found, str) or len(found) > 2000:
        raise SimError("is missing or too long", field=key, remedy="Fill in the field")
    return found
