"""How the two sides of one-sided ground are called: as a family builds it, and mirrored."""

from __future__ import annotations

from collections.abc import Sequence

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


def both(names: tuple[str, str], values: tuple[float, float], texts: tuple[str, str]) -> str:
    """``uphill right +42, worse: uphill left +8``; as built first where both texts are alike."""
    first, second = (f"{name} {text}" for name, text in zip(names, texts, strict=True))
    if texts[0] == texts[1]:
        return f"{first}, {second}"
    return f"{second}, worse: {first}" if values[0] < values[1] else f"{first}, worse: {second}"
