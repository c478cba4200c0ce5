"""How the two sides of one-sided ground are called: as a family builds it, and mirrored."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.statistics.interval import Estimate

PLAIN = ("ground as built", "ground mirrored")
_NAMES = {
    "side-hill": ("uphill left", "uphill right"),
    "off-camber-ledge": ("uphill left", "uphill right"),
    "twist": ("left wheels up first", "right wheels up first"),
    "articulation-ramp": ("ramp left", "ramp right"),
    "slab": ("grain as told", "grain mirrored"),
}


def side_names(obstacles: Sequence[str]) -> tuple[str, str]:
    """Names that hold for all of these obstacles (those without sides left aside), else plain ones."""
    known = {_NAMES[family] for family in (name.partition(",")[0] for name in obstacles) if family in _NAMES}
    return known.pop() if len(known) == 1 else PLAIN


def both(names: tuple[str, str], sides: tuple[Estimate, Estimate], form: str, unit: str = "") -> str:
    """``uphill left 100 % (91 to 100), worse: uphill right 58 % (39 to 75)``.

    A side is called worse where its interval lies wholly under the other's; as built first where neither does.
    """
    first, second = (f"{name} {_span(one, form, unit)}" for name, one in zip(names, sides, strict=True))
    if sides[0].high < sides[1].low:
        return f"{second}, worse: {first}"
    return f"{first}, worse: {second}" if sides[1].high < sides[0].low else f"{first}, {second}"


def _span(one: Estimate, form: str, unit: str) -> str:
    value, low, high = (format(x, form) if math.isfinite(x) else "…" for x in (one.value, one.low, one.high))
    return f"{value}{unit} ({low} to {high})"
