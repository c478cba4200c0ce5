"""Slips of the bench, told by their size: a wrong unit, a wheel left out, the battery off the truck."""

from __future__ import annotations

import math

from models.bench.readings import Reading
from models.errors import BuildSheetError
from models.massprops import truck_properties
from models.plausible import usual_mass_g
from models.spec import Sheet

WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
_SLIPS = ((28.3495, "ounces"), (1000.0, "kilograms"), (453.592, "pounds"))


def slip(ratio: float) -> tuple[float, str, str] | None:
    """Say which unit a ratio of wrong to right betrays, None if none."""
    for factor, unit in _SLIPS:
        for wrong, said in ((1.0 / factor, unit), (factor, "grams")):
            if 0.8 < ratio / wrong < 1.25:
                text = f"1/{factor:.4g}" if wrong < 1.0 else f"{factor:.4g}"
                told = f"This looks like {said} written as another unit (a factor of {factor:.4g}); check the unit."
                return wrong, text, told
    return None


def check_total(total: float, sheet: Sheet | None) -> None:
    """Refuse a truck (kg) that cannot be the sheet's.

    :raises BuildSheetError: half or twice its parts, or a whole unit off.
    """
    if sheet is None:
        return
    parts = truck_properties(sheet).mass
    ratio = total / parts
    if 0.5 < ratio < 2.0:
        return
    found = slip(ratio)
    usual = usual_mass_g(sheet.scale)
    raise BuildSheetError(
        f"the scale says {grams(total)}, the sheet's parts sum to {grams(parts)} "
        f"(a 1/{sheet.scale:g} truck has about {usual:.0f} g).",
        remedy=found[2] if found else "Is this the readings file of another truck, or are parts missing on the sheet?",
        field="whole",
    )


def grams(mass: float) -> str:
    """A mass (kg) as it is shown."""
    return f"{1000.0 * mass:.4g} g"


def check_sum(field: str, loads: list[float], whole: float, sheet: Sheet | None, step: float) -> None:
    """Refuse loads (kg) that cannot belong to the truck weighed whole; small differences are judged later.

    :raises BuildSheetError: they are off by more than six percent, with the likely cause.
    """
    total, count = sum(loads), len(loads)
    off = total - whole
    if abs(off) <= max(0.06 * whole, 2.0 * count * step):
        return
    for n, (load, name) in enumerate(zip(loads, WHEELS if count == 4 else ("front", "rear"), strict=True)):
        rest = (whole - (total - load)) / load if load else 0.0
        # Only if the reading in another unit would make the sum come out.
        found = slip(1.0 / rest) if rest > 0.0 else None
        # And only if it is the odd one out: a wheel does not weigh a thirtieth of the others.
        odd = found is not None and _odder(load, load / found[0], (total - load) / (count - 1))
        if found is not None and odd and abs((total - load) + load / found[0] - whole) < 0.06 * whole:
            raise BuildSheetError(
                f"with this reading the {count} loads sum to {grams(total)}, the whole truck has {grams(whole)}.",
                remedy=found[2], field=f"{field}.{name}", value=grams(loads[n]),
            )  # fmt: skip
    raise BuildSheetError(
        f"the {count} loads sum to {grams(total)}, but the whole truck weighed {grams(whole)} "
        f"({1000.0 * off:+.3g} g).",
        remedy=_why_off(off, whole, total, sheet),
        field=field,
    )


def _odder(load: float, instead: float, others: float) -> bool:
    """Whether a reading lies further (by its ratio) from the mean of the others than what it would be instead."""
    return others > 0.0 and load > 0.0 and abs(math.log(load / others)) > abs(math.log(instead / others))


def _why_off(off: float, whole: float, total: float, sheet: Sheet | None) -> str:
    found = slip(total / whole)
    if found is not None:
        return found[2]
    if 0.45 < total / whole < 0.55:
        return "That is half: were only two wheels read, or each scale's reading halved?"
    if 0.70 < total / whole < 0.80 or 1.2 < total / whole < 1.3:
        return "That is about one wheel: was one read twice or left out, or was a scale not tared?"
    near = None if sheet is None else min(
        (p for p in sheet.parts if p.mass_g), key=lambda p: abs((p.mass_g or 0.0) / 1000.0 - abs(off)), default=None
    )
    if near is not None and abs((near.mass_g or 0.0) / 1000.0 - abs(off)) < 0.1 * abs(off):
        without = "wheel loads" if off < 0 else "whole truck"
        return f'That is what "{near.name}" weighs ({near.mass_g:g} g): was it off the truck for the {without}?'
    return "Were all blocks as high as the scale, the scale tared, and nothing leaning on the truck?"


def check_length(length: float, on_sheet: float | None, field: str, raw: Reading) -> None:
    """Refuse a length (m) far from the sheet's.

    :raises BuildSheetError: more than a third off, with the unit it looks like.
    """
    if on_sheet is None or 0.75 < length / on_sheet < 1.33:
        return
    for factor, unit in ((25.4, "inches"), (10.0, "centimetres"), (1000.0, "metres")):
        if 0.8 < length * factor / on_sheet < 1.25:
            cause = f"This looks like {unit} written as millimetres."
            break
    else:
        cause = "Measure again, or correct the sheet; is this the readings file of another truck?"
    raise BuildSheetError(f"the sheet has {1000.0 * on_sheet:.4g} mm here, the reading says {1000.0 * length:.4g} mm.",
                          remedy=cause, field=field, value=raw)
