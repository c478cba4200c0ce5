"""Answers of the bench that no truck of the scale gives: nearly always a slip of the unit or of the question."""

from __future__ import annotations

from models.answers import Answers
from models.errors import BuildSheetError
from models.typical import typical

LONGER, HEAVIER = 2.0, 3.0
"""Beyond the ends of the usual range by which no truck of a scale goes (assumed)."""
_UNITS = {"mm": ((10.0, "centimetres"), (25.4, "inches"), (1000.0, "metres")),
          "g": ((28.35, "ounces"), (453.6, "pounds"), (1000.0, "kilograms"), (0.001, "milligrams"))}
_LOOKS_LIKE = 1.3
"""Share of the usual range beyond which a unit explains nothing (assumed)."""


def check_sizes(answers: Answers) -> None:
    """Check lengths and masses against trucks of the scale.

    :raises BuildSheetError: the first that is far from all of them, with the unit it looks like.
    """
    for field, key, reach, values in (
        ("wheelbase", "wheelbase_mm", LONGER, (answers.wheelbase_mm,)),
        ("track", "track_mm", LONGER, answers.track_mm or ()),
        ("tyre_diameter", "tyre_diameter_mm", LONGER, answers.tyre_diameter_mm or ()),
        ("tyre_width", "tyre_width_mm", LONGER, answers.tyre_width_mm or ()),
        ("mass", "mass_g", HEAVIER, (answers.total_g,)),
        ("battery", "battery_g", HEAVIER, (answers.battery_g,)),
    ):  # fmt: skip
        for value in values:
            if value is not None:
                _check(field, value, key, reach, answers.scale)


def _check(field: str, value: float, key: str, reach: float, scale: float) -> None:
    usual, unit = typical(f"size.{key}", scale), key.rpartition("_")[2]
    if usual.low / reach <= value <= usual.high * reach:
        return
    remedy = next((f"In {words} it would be {float(f'{value * factor:.3g}'):g} {unit}: write the unit behind it."
                   for factor, words in _UNITS[unit]
                   if usual.low / _LOOKS_LIKE <= value * factor <= usual.high * _LOOKS_LIKE),
                  "Check the unit and the decimal point.")
    raise BuildSheetError(f"is far from any 1/{scale:g} truck ({usual.low:g} to {usual.high:g} {unit} are usual).",
                          remedy=remedy, field=field, value=float(f"{value:g}"))
