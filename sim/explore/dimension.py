"""One thing that may change: its choices in order, each a change to the sheet or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from models import room as rooms
from models.change import Change, load_change
from models.room import AXES
from models.spec import PAIRED, Sheet
from sim.errors import SimError
from sim.explore.space_file import BallastPlace, Dial, DrawerPick, Hubs, Movable, Space


@dataclass(frozen=True)
class Option:
    """One choice."""

    label: str
    value: float
    """What an axis of a picture shows: mm, g, the key's own unit; for parts of a drawer their number."""
    change: Change | None
    """None leaves the truck as it is here."""


@dataclass(frozen=True)
class Dimension:
    """One thing that may change."""

    name: str
    unit: str
    options: tuple[Option, ...]
    now: int
    """The choice that leaves the truck as it is."""
    moved: Movable | None = None
    """Of positions: the part that moves."""


def dimensions(sheet: Sheet, space: Space | None, changes: Sequence[Change], folder: Path) -> tuple[Dimension, ...]:
    """List all that is free.

    :param sheet: The truck as it is.
    :param space: What may change; None for the changes alone.
    :param changes: Files named besides, each taken or not.
    :param folder: Where the space file lies.
    :raises BuildSheetError: A part or file that is not there.
    :raises SimError: Nothing is free, or two things have the same name.
    """
    found: list[Dimension] = []
    if space is not None:
        found += [_positions(sheet, one, space.currency) for one in space.move]
        found += [_weights(sheet, one, space.currency) for one in space.ballast]
        found += [_widths(sheet, one, space.currency) for one in space.hubs]
        found += [_values(one, space.currency) for one in space.dial]
        found += [_picks(one, folder) for one in space.pick]
    found += [Dimension(one.name, "", (Option("without", 0.0, None), Option(one.name, 1.0, one)), 0) for one in changes]
    found = [one for one in found if len(one.options) > 1]
    if not found:
        raise SimError("nothing is free to change", field="space", remedy="Name change files, or a space file")
    names = [one.name for one in found]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise SimError("two things that may change have the same name", field="name", value=twice,
                       remedy="Give each its own")
    return tuple(found)


def nearest(dimension: Dimension, value: float) -> int:
    """The choice whose value is nearest."""
    return int(np.argmin([abs(option.value - value) for option in dimension.options]))


def _made(name: str, price: float, currency: str, **what: Any) -> Change:
    data = {"schema": 1, "name": name, "price": price, "currency": currency, **what}
    return Change.model_validate(data)


def _positions(sheet: Sheet, one: Movable, currency: str) -> Dimension:
    part = rooms.find(sheet, one.part)
    along = tuple(rooms.find(sheet, name).name for name in one.along)
    there = rooms.room(sheet, part.name, one.axis, along=along)
    low = there.low if one.low_mm is None else max(one.low_mm, there.low)
    high = there.high if one.high_mm is None else min(one.high_mm, there.high)
    spots = np.round(there.now + one.step_mm * np.arange(np.ceil((low - there.now) / one.step_mm),
                                                         np.floor((high - there.now) / one.step_mm) + 1), 6)
    k = AXES.index(one.axis)
    options: list[Option] = []
    now = 0
    for spot in spots:
        here = bool(spot == round(there.now, 6))
        if not here and there.at(float(spot)):
            continue
        by = [0.0, 0.0, 0.0]
        by[k] = float(spot - there.now)
        label = f"{part.name} at {one.axis} = {spot:g} mm"
        moves = [{"part": name, "by_mm": by} for name in (part.name, *along)]
        now = len(options) if here else now
        options.append(Option(label, float(spot), None if here else _made(label, one.price, currency, move=moves)))
    return Dimension(f"{part.name} {one.axis}", "mm", tuple(options), now, one)


def _weights(sheet: Sheet, one: BallastPlace, currency: str) -> Dimension:
    pair = one.body in PAIRED
    options = [Option(f"no {one.name}", 0.0, None)]
    for grams in np.arange(one.step_g, one.most_g + 1e-9, one.step_g):
        total = float(grams) * (2.0 if pair else 1.0)
        part = {"name": one.name, "body": one.body, "at_mm": one.at_mm, "size_mm": one.size_mm, "shape": one.shape,
                "bore_mm": one.bore_mm, "mass_each_g" if pair else "mass_g": float(grams)}
        label = f"{one.name} {grams:g} g" + (" each" if pair else "")
        options.append(Option(label, total, _made(label, round(one.price_per_g * total, 2), currency, add=[part])))
    return Dimension(one.name, "g", tuple(options), 0)


def _widths(sheet: Sheet, one: Hubs, currency: str) -> Dimension:
    ends = ("front", "rear") if one.end == "both" else (one.end,)
    options = [Option("hubs as they are", 0.0, None)]
    for out in np.arange(one.step_mm, one.most_mm + 1e-9, one.step_mm):
        label = f"hubs {out:g} mm wider each side" + ("" if one.end == "both" else f", {one.end}")
        tracks, moves, parts = {}, [], []
        for end in ends:
            axle = sheet.axles.front if end == "front" else sheet.axles.rear
            tracks[f"axles.{end}.track_mm"] = axle.track_mm + 2.0 * float(out)
            moves.append({"body": f"{end}_wheels", "by_mm": [0.0, float(out), 0.0]})
            if one.grams_per_mm:
                at = [axle.x_mm, axle.track_mm / 2.0, _height(sheet, end)]
                parts.append({"name": f"{end} longer hub", "body": f"{end}_wheels", "at_mm": at,
                              "mass_each_g": one.grams_per_mm * float(out)})
        options.append(Option(label, float(out), _made(label, one.price, currency, set=tracks, move=moves, add=parts)))
    return Dimension("hub width" if one.end == "both" else f"{one.end} hub width", "mm", tuple(options), 0)


def _height(sheet: Sheet, end: str) -> float:
    """Of the wheels' centre, mm."""
    heights = [part.at_mm[2] for part in sheet.parts if part.body == f"{end}_wheels"]
    return max(heights, default=0.0)


def _values(one: Dial, currency: str) -> Dimension:
    options = [Option(f"{one.name} as it is", float("nan"), None)]
    for value in one.values:
        label = f"{one.name} {value:g} {one.unit}".rstrip()
        change = _made(label, one.price, currency, set=dict.fromkeys(one.keys, value), unset=one.unset)
        options.append(Option(label, float(value), change))
    return Dimension(one.name, one.unit, tuple(options), 0)


def _picks(one: DrawerPick, folder: Path) -> Dimension:
    options = [Option(f"{one.name} as they are", 0.0, None)]
    for number, file in enumerate(one.changes, start=1):
        change = load_change(folder / file)
        options.append(Option(change.name, float(number), change))
    return Dimension(one.name, "", tuple(options), 0)
