"""What a build sheet leaves in doubt: every value that the fit may move, how far it may be off, and its limits.

Widths are standard deviations (common practice, no source): a mass that nobody weighed is off by a tenth, one as sold
by a twentieth; a place is off by a part of the wheelbase and of the part's own size, since the middle of a thing is
not always its centre of gravity. Springs and tyres are known to a quarter unless they were measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.massprops import truck_properties
from models.part_mass import single_grams
from models.spec import LOOSE_PART, PAIRED, Part, Sheet

MASS_DOUBT = {"assumed": 0.10, "sold": 0.05, "fitted": 0.05, "measured": 0.005}
PLACE_DOUBT = {"assumed": 0.015, "sold": 0.015, "fitted": 0.010, "measured": 0.005}
"""Of the wheelbase."""
SIZE_DOUBT = {"assumed": 0.06, "sold": 0.06, "fitted": 0.05, "measured": 0.03}
"""Of the part's size along the axis."""
STIFFNESS_DOUBT = 0.25
"""Of springs and tyres, as the standard deviation of the logarithm."""
UNACCOUNTED_SHARE = 0.03
"""Wires, screws, glue and grease that no sheet lists: up to some percent of the truck; nothing if the sum fits."""
MOST_UNACCOUNTED = 0.25
SPRINGS, TYRES = ("springs",), ("tyres",)


@dataclass(frozen=True)
class Unknown:
    """One value that the fit may move; SI."""

    key: tuple[str, ...]
    """``("parts", name, "mass")``, ``("parts", name, "x")``, ``("springs",)`` (factor on all rates, as logarithm)."""
    value: float
    doubt: float
    low: float
    high: float
    unit: str
    """On the screen: g, mm or %."""

    @property
    def part(self) -> str | None:
        """Name of the part it belongs to."""
        return self.key[1] if self.key[0] == "parts" else None

    def shown(self, value: float) -> float:
        """Turn a value to the screen's unit; a logarithm to percent."""
        return 100.0 * float(np.expm1(value)) if self.unit == "%" else 1000.0 * value


def unknowns(sheet: Sheet, weighed: Mapping[str, tuple[float, float]], stiffness: tuple[bool, bool]) -> list[Unknown]:
    """List what may move.

    :param weighed: parts that were weighed by themselves: mass of a single one and its standard uncertainty, kg.
    :param stiffness: whether springs and tyres are in doubt and some reading hangs on them.
    """
    total = truck_properties(sheet).mass
    found = [u for part in sheet.parts for u in _of_part(part, sheet, weighed, total)]
    loose = _loose(sheet, total)
    springs, tyres = stiffness
    for wanted, key in ((springs, SPRINGS), (tyres, TYRES)):
        if wanted:
            found.append(Unknown(key, 0.0, STIFFNESS_DOUBT, -1.4, 1.4, "%"))
    return [*found, *loose]


def _of_part(part: Part, sheet: Sheet, weighed: Mapping[str, tuple[float, float]], total: float) -> list[Unknown]:
    path = ("parts", part.name)
    given = single_grams(part)
    mass, doubt = given / 1000.0, max(MASS_DOUBT[part.source] * given / 1000.0, 2e-4 * total)
    if part.name in weighed:
        mass, doubt = weighed[part.name]
    found = [Unknown((*path, "mass"), mass, doubt, 0.2 * mass, 3.0 * mass + 1e-6, "g")] if mass > 0.0 else []
    base = sheet.wheelbase_mm / 1000.0
    for axis, place, size in zip("xyz", part.at_mm, part.size_mm, strict=True):
        # Wheels and knuckles sit where the axle is; what lies in the middle plane is there by intent.
        if part.body in PAIRED:
            continue
        share = PLACE_DOUBT[part.source] * (0.5 if axis == "y" else 1.0)
        own = SIZE_DOUBT[part.source] * (0.5 if axis == "y" else 1.0)
        far = float(np.hypot(share * base, own * size / 1000.0))
        at = place / 1000.0
        low = max(at - 4.0 * far, 0.0) if axis == "z" else at - 4.0 * far
        found.append(Unknown((*path, axis), at, far, low, at + 4.0 * far, "mm"))
    return found


def _loose(sheet: Sheet, total: float) -> list[Unknown]:
    """What no part stands for, lying about the chassis."""
    if any(part.name == LOOSE_PART for part in sheet.parts):
        return []
    base = sheet.wheelbase_mm / 1000.0
    chassis = [p for p in sheet.parts if p.body == "chassis" and p.mass_g] or list(sheet.parts)
    weights = np.array([p.mass_g or p.mass_each_g or 0.0 for p in chassis])
    at = weights @ np.array([p.at_mm for p in chassis]) / max(weights.sum(), 1e-9) / 1000.0
    usual = UNACCOUNTED_SHARE * total
    path = ("parts", LOOSE_PART)
    return [
        Unknown((*path, "mass"), 0.0, usual, 0.0, MOST_UNACCOUNTED * total, "g"),
        *(
            Unknown((*path, axis), float(v), d * base, max(float(v) - 3 * d * base, 0.0 if axis == "z" else -1e3),
                    float(v) + 3 * d * base, "mm")
            for axis, v, d in zip("xyz", at, (0.2, 0.05, 0.08), strict=True)
        ),
    ]  # fmt: skip
