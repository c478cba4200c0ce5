"""Likely slips on a sheet that could still be a truck: each said in a line that names the slip."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.ends import ends
from models.room import part_box
from models.spec import PAIRED, HullShape, Part, Sheet
from models.typical import tables

_INSIDE = 0.6
"""Share of a part's box within another's from which it is said to lie in it."""
_BEYOND_MM = 2.0
_OPEN = ("frame", "rails", "chassis", "tray", "skid", "slider", "plate", "link", "shaft", "interior", "strap")
"""Words of parts drawn as one block round others, or that run through them."""


def slips(sheet: Sheet) -> tuple[str, ...]:
    """Say what looks like a slip, in the order of the sheet."""
    return (*_beyond(sheet), *_densities(sheet), *_inside(sheet), *_tracks(sheet), *_hull(sheet))


def _beyond(sheet: Sheet) -> Iterator[str]:
    """Parts that stick out past what guards the truck: a place counted from elsewhere."""
    guards = [p for p in sheet.parts if "bumper" in p.name.lower()]
    things: list[Part | HullShape] = [*sheet.parts, *sheet.hull]
    boxes = [part_box(thing) for thing in things if "bumper" in thing.name.lower()]
    limits = {
        "front": max([sheet.axles.front.x_mm + sheet.tyres.front.outside_diameter_mm / 2, *(b.high[0] for b in boxes)]),
        "rear": min([sheet.axles.rear.x_mm - sheet.tyres.rear.outside_diameter_mm / 2, *(b.low[0] for b in boxes)]),
    }
    for part in sheet.parts:
        if part in guards or part.body in PAIRED or part.shape == "shell":
            continue
        box = part_box(part)
        for end, over in (("front", box.high[0] - limits["front"]), ("rear", limits["rear"] - box.low[0])):
            if over > _BEYOND_MM:
                yield (f"{part.name} reaches {over:.0f} mm beyond the {end} bumper and tyres: x counts forwards from "
                       "the rear axle to the part's middle")


def _densities(sheet: Sheet) -> Iterator[str]:
    for part in sheet.parts:
        kinds = [words for words in tables()["density"] if words in part.name.lower() and "tray" not in part.name]
        volume, grams = float(np.prod(part.size_mm)) / 1000.0, part.mass_g or 0.0
        if not kinds or volume <= 0.0 or grams <= 0.0 or part.shape == "shell":
            continue
        low, high = tables()["density"][kinds[0]]
        density = grams / volume
        if low <= density <= high:
            continue
        slip = next((f"; in {unit} it would be {grams * factor:.3g} g" for factor, unit in
                     ((28.35, "ounces"), (1000.0, "kilograms"), (0.001, "milligrams"))
                     if low <= density * factor <= high), "; check mass_g and size_mm")
        yield (f"{part.name}: {grams:g} g in {volume:.3g} cm³ is {density:.2g} g/cm³, a {kinds[0]} has {low:g} to "
               f"{high:g}{slip}")


def _inside(sheet: Sheet) -> Iterator[str]:
    """Solid parts of the chassis within one another."""
    solid = [p for p in sheet.parts if p.body == "chassis" and p.shape != "shell" and min(p.size_mm) > 0.0
             and not any(word in p.name.lower() for word in _OPEN)]
    boxes = {part.name: part_box(part) for part in solid}
    for n, part in enumerate(solid):
        for other in solid[n + 1:]:
            inner, outer = sorted((part, other), key=_volume)
            a, b = boxes[inner.name], boxes[outer.name]
            common = np.prod(np.maximum(np.minimum(a.high, b.high) - np.maximum(a.low, b.low), 0.0))
            if common / _volume(inner) > _INSIDE:
                yield f"{inner.name} lies inside {outer.name}: check at_mm and size_mm of both"


def _volume(part: Part) -> float:
    return float(np.prod(part.size_mm))


def _tracks(sheet: Sheet) -> Iterator[str]:
    for end, axle, _ in ends(sheet):
        for part in sheet.parts:
            off = part.at_mm[1] - axle.track_mm / 2
            if part.body == f"{end}_wheels" and abs(off) > max(2.0, 0.04 * axle.track_mm):
                yield (f"{part.name} is at y = {part.at_mm[1]:g} mm, but half of axles.{end}.track_mm is "
                       f"{axle.track_mm / 2:g}: the track is from tyre centre to tyre centre, not over the tyres")


def _hull(sheet: Sheet) -> Iterator[str]:
    if not any(shape.body == "chassis" for shape in sheet.hull):
        yield ("no hull shape rides on the chassis: nothing but tyres and links can touch, and approach, breakover and "
               "departure are not this truck's; leave hull out to have a typical one filled in")
