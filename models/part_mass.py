"""The mass of a part as the sheet gives it: of a part of a pair, of one of the two."""

from __future__ import annotations

from models.spec import PAIRED, Part


def mass_key(body: str) -> str:
    """Key of the mass of what rides on this body."""
    return "mass_each_g" if body in PAIRED else "mass_g"


def single_grams(part: Part) -> float:
    """Grams of a single part; nothing where the sheet gives none."""
    return (part.mass_each_g if part.body in PAIRED else part.mass_g) or 0.0


def all_grams(part: Part) -> float:
    """Grams that the part adds to the truck, both of a pair."""
    return (part.mass_g or 0.0) + 2.0 * (part.mass_each_g or 0.0)
