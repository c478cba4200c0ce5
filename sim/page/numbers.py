"""The numbers beside the drawing, in the words of ``cragbench sheet``, and how far each moved since it was opened."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from models import glossary
from models.massprops import GRAVITY, MassProperties, WheelLoads, truck_properties, wheel_loads
from models.spec import Sheet
from models.statics import standing_numbers


@dataclass(frozen=True)
class Standing:
    """What is known of a truck at rest."""

    truck: MassProperties
    loads: WheelLoads
    angles: dict[str, Any]
    """Fields of :class:`models.statics.Statics`."""


@dataclass(frozen=True)
class NumberRow:
    """One number as the page shows it."""

    key: str
    words: str
    value: str
    change: str
    """Against the sheet as opened; empty where it did not move."""
    group: str


def standing(sheet: Sheet) -> Standing:
    """Work out what a truck (resolved) shows on the scales and by the handbook.

    :raises BuildSheetError: it cannot stand.
    """
    truck = truck_properties(sheet)
    loads = wheel_loads(sheet, truck)
    return Standing(truck, loads, standing_numbers(sheet, truck, loads))


def rows(now: Standing, before: Standing) -> list[NumberRow]:
    """Numbers in the order in which a builder looks at them."""
    out = []
    values, earlier = _values(now), _values(before)
    for key, (group, words, unit, digits) in _LABELS.items():
        # A figure that rounds to nothing has no sign.
        value = values[key] if abs(values[key]) >= 0.5 * 10.0**-digits or math.isnan(values[key]) else 0.0
        was = earlier[key]
        moved = value - was
        change = "" if math.isnan(moved) or abs(moved) < 0.5 * 10.0**-digits else f"{moved:+.{digits}f}"
        text = "unknown" if math.isnan(value) else _with(f"{value:.{digits}f}", unit)
        out.append(NumberRow(key, words, text, change.replace("-", "−"), group))
    return out


def wheel_grams(now: Standing) -> list[float]:
    """What four scales show, g: front left, front right, rear left, rear right."""
    return [1e3 * float(force) / GRAVITY for force in now.loads.load]


_LABELS: dict[str, tuple[str, str, str, int]] = {
    "front": ("Weight", glossary.FRONT_BIAS, "%", 1),
    "left": ("Weight", "on the left wheels", "%", 1),
    "mass": ("Weight", "mass", "g", 1),
    "cg_x": ("Weight", "centre of gravity ahead of the rear axle", "mm", 1),
    "cg_y": ("Weight", "centre of gravity left of the middle", "mm", 1),
    "cg_z": ("Weight", glossary.CG_HEIGHT, "mm", 1),
    "tip_left": ("Tips over at", f"{glossary.SIDEWAYS}, left side low", "°", 1),
    "tip_right": ("Tips over at", f"{glossary.SIDEWAYS}, right side low", "°", 1),
    "tip_back": ("Tips over at", glossary.BACK, "°", 1),
    "tip_front": ("Tips over at", glossary.OVER, "°", 1),
    "distance": ("Tips over at", f"{glossary.EDGE}, level", "mm", 1),
    "rise": ("Tips over at", f"{glossary.RISE}, level", "mm", 1),
    "climb_grip": ("Slides at", glossary.SLIDES_BACK, "°", 1),
    "side_grip": ("Slides at", glossary.SLIDES_SIDEWAYS, "°", 1),
    "approach": ("Underside", glossary.APPROACH, "°", 1),
    "breakover": ("Underside", glossary.BREAKOVER, "°", 1),
    "departure": ("Underside", glossary.DEPARTURE, "°", 1),
    "belly": ("Underside", "clearance of the belly", "mm", 1),
}


def _values(now: Standing) -> dict[str, float]:
    x, y, z = (1e3 * float(v) for v in now.truck.cg)
    tip = now.angles["tip_deg"]
    return {
        "front": now.loads.front_percent, "left": now.loads.left_percent, "mass": 1e3 * now.truck.mass,
        "cg_x": x, "cg_y": y + 0.0, "cg_z": z,
        "tip_left": tip.left, "tip_right": tip.right, "tip_back": tip.back, "tip_front": tip.front,
        "distance": now.angles["stability_distance_mm"], "rise": now.angles["stability_rise_mm"],
        "climb_grip": now.angles["climb_grip_deg"], "side_grip": now.angles["side_grip_deg"],
        "approach": now.angles["approach_deg"], "breakover": now.angles["breakover_deg"],
        "departure": now.angles["departure_deg"], "belly": now.angles["belly_clearance_mm"],
    }


def _with(number: str, unit: str) -> str:
    number = number.replace("-", "−")
    return f"{number}°" if unit == "°" else f"{number} {unit}"
