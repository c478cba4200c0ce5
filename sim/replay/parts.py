"""The parts that a change is about: what is inside the shell, with names, and what differs from another sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.rigid import BODY_NAMES
from models.spec import PAIRED, Part, Sheet
from sim.replay import solid
from sim.replay.solid import Solid

Array = NDArray[np.float64]
MOST_NAMES = 6
"""Names in a picture: what changed, then the heaviest."""
LIGHTEST = 2.0
"""g; what weighs less is drawn only where it changed."""


@dataclass(frozen=True)
class NamedPart:
    """A part that a picture names."""

    text: str
    body: int
    at: Array
    """(3,) m, body frame."""
    changed: bool


def state(part: Part, before: Sheet | None) -> str:
    """What happened to a part against another sheet, by its name: ``same``, ``moved``, ``new``, ``heavier or lighter``.
    """
    if before is None:
        return "same"
    old = next((p for p in before.parts if p.name == part.name), None)
    if old is None:
        return "new"
    if old.at_mm != part.at_mm:
        return "moved"
    return "same" if grams(old) == grams(part) else "heavier or lighter"


def grams(part: Part) -> float:
    """Mass of a part, both of a pair together."""
    return part.mass_g if part.mass_g is not None else 2.0 * (part.mass_each_g or 0.0)


def inside(sheet: Sheet, before: Sheet | None, origins: Array) -> tuple[list[Solid], list[NamedPart]]:
    """Solids of the parts on the chassis and of all that changed, and the names to show with them.

    :param sheet: Resolved sheet.
    :param before: Sheet it is compared with; None marks nothing.
    :param origins: (11, 3) m, places of the bodies in the sheet's frame.
    """
    solids: list[Solid] = []
    names: list[tuple[float, NamedPart]] = []
    for part in sheet.parts:
        changed = state(part, before) != "same"
        if not changed and (part.body != "chassis" or part.shape == "shell" or grams(part) < LIGHTEST):
            continue
        for body, mirror in _bodies(part):
            at = np.array(part.at_mm) / 1e3 * [1.0, mirror, 1.0] - origins[body]
            make = solid.cylinder if part.shape in ("cylinder", "ring") else solid.box
            if part.shape != "shell":
                solids.append(make(body, "changed" if changed else "part", at, np.array(part.size_mm) / 1e3))
        each = "2 × " if part.body in PAIRED else ""
        text = f"{part.name}, {each}{grams(part) / (2 if each else 1):.3g} g"
        names.append((grams(part) + (1e6 if changed else 0.0), NamedPart(text, body, at, changed)))
    names.sort(key=lambda pair: -pair[0])
    return solids, [name for _, name in names[:MOST_NAMES]]


def _bodies(part: Part) -> list[tuple[int, float]]:
    """Bodies that a part rides on, and the side that its place is mirrored to."""
    if part.body in BODY_NAMES:
        return [(BODY_NAMES.index(part.body), 1.0)]
    end, kind = part.body.split("_", 1)
    kind = kind.removesuffix("s")
    return [(BODY_NAMES.index(f"{end}_{side}_{kind}"), sign) for side, sign in (("left", 1.0), ("right", -1.0))
            if f"{end}_{side}_{kind}" in BODY_NAMES] or [(0, 1.0)]
