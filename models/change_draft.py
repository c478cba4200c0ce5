"""A change written from a few words: a part moved, taken off, swapped or added, a value set."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

from models.change import Change, check_change
from models.edit import apply
from models.errors import BuildSheetError
from models.part_mass import mass_key
from models.record import validated
from models.room import find
from models.spec import Part, Sheet

Data = dict[str, Any]


@dataclass(frozen=True)
class Wish:
    """What is to happen; millimetres, grams."""

    part: str | None = None
    to: Sequence[float] | None = None
    """x, or x, y, z; what is left out stays."""
    by: Sequence[float] | None = None
    along: Sequence[str] = ()
    """Parts that go with it."""
    remove: bool = False
    add: bool = False
    mass: float | None = None
    """Of a new part, or in place of the old one's; of a pair, each."""
    size: Sequence[float] | None = None
    body: str | None = None
    becomes: str | None = None
    """New name of the part that takes its place."""
    set: Mapping[str, Any] | None = None
    unset: Sequence[str] = ()
    price: float | None = None
    currency: str | None = None
    name: str | None = None


def draft(sheet: Sheet, wish: Wish) -> Change:
    """Make a change that fits the sheet.

    :raises BuildSheetError: no such part, nothing to do, or a truck that cannot exist.
    """
    data: Data = {"schema": 1, "name": wish.name or "", "scale": sheet.scale}
    words: list[str] = []
    if wish.part is not None:
        words.append(_of_part(data, sheet, wish))
    elif wish.to or wish.by or wish.remove or wish.add or wish.mass is not None:
        raise BuildSheetError("which part?", remedy='Name it: cragbench change BUILD "battery" --to 115.', field="part")
    if wish.set:
        data["set"] = dict(wish.set)
        words.append(", ".join(f"{key} = {value}" for key, value in wish.set.items()))
    if wish.unset:
        data["unset"] = list(wish.unset)
        words.append(f"without {', '.join(wish.unset)}")
    data["name"] = wish.name or " and ".join(words) or "change"
    if wish.price is not None:
        data["price"], data["currency"] = wish.price, wish.currency or "USD"
    if "set" in data:
        data["set"] = data.pop("set")  # a table, and so last
    change = validated(Change, data)
    check_change(change)
    apply(sheet, [change])
    return change


def _of_part(data: Data, sheet: Sheet, wish: Wish) -> str:
    assert wish.part is not None
    if wish.add:
        data["add"] = [_added(wish)]
        return f"{wish.part} added"
    part = find(sheet, wish.part)
    if wish.remove:
        data["remove"] = [part.name]
        return f"{part.name} off"
    if wish.mass is not None or wish.size is not None or wish.becomes or wish.body:
        data["replace"] = [_replaced(part, wish)]
        return f"{wish.becomes or part.name}" + (f" {wish.mass:g} g" if wish.mass is not None else "")
    if (wish.to is None) == (wish.by is None):
        raise BuildSheetError("what is to happen to it?", remedy="Give one of --to, --by, --remove, --mass, --becomes.",
                              field="part", value=part.name)
    by = _offset(part, wish)
    data["move"] = [{"part": find(sheet, name).name, "by_mm": by} for name in (part.name, *wish.along)]
    place = ", ".join(f"{axis} = {at + off:g}" for axis, at, off in zip("xyz", part.at_mm, by, strict=True) if off)
    return f"{part.name} at {place or 'its place'} mm"


def _offset(part: Part, wish: Wish) -> list[float]:
    given = wish.to if wish.to is not None else wish.by
    if given is None or len(given) not in (1, 3):
        raise BuildSheetError("is x, or x, y, z in mm.", remedy="Write --to 115.5 or --to 115.5,0,55.", field="to",
                              value=given)  # fmt: skip
    if wish.by is not None:
        return [*map(float, given), *([0.0] * (3 - len(given)))]
    return [round(float(to) - at, 6) + 0.0 for to, at in zip([*given, *part.at_mm[len(given):]], part.at_mm,
                                                             strict=True)]


def _added(wish: Wish) -> Data:
    if wish.to is None or len(wish.to) != 3 or wish.mass is None:
        raise BuildSheetError("a new part needs its mass and place.", remedy="Give --mass 12 --to 60,0,50, and "
                              "--size 20,20,10 for its inertia.", field="part", value=wish.part)  # fmt: skip
    body = wish.body or "chassis"
    added: Data = {"name": wish.part}
    if body != "chassis":
        added["body"] = body
    added[mass_key(body)] = wish.mass
    added["at_mm"] = [float(v) for v in wish.to]
    if wish.size is not None:
        added["size_mm"] = [float(v) for v in wish.size]
    return added


def _replaced(part: Part, wish: Wish) -> Data:
    stays = wish.to is None and wish.by is None
    new: Data = {
        "name": wish.becomes or None,
        "body": wish.body or None,
        mass_key(wish.body or part.body): wish.mass,
        "at_mm": None if stays else [at + off for at, off in zip(part.at_mm, _offset(part, wish), strict=True)],
        "size_mm": None if wish.size is None else [float(v) for v in wish.size],
    }
    return {"part": part.name, **{key: value for key, value in new.items() if value is not None}}


def text_of(change: Change) -> str:
    """The change as the text of its file."""
    data = change.model_dump(mode="json", by_alias=True, exclude_unset=True)
    return tomlkit.dumps(data)


def value_of(text: str) -> Any:
    """Read the value of ``key=value`` as TOML would: a number, true, "text", [list]; a bare word is text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def stays_behind(sheet: Sheet, wish: Wish) -> tuple[str, ...]:
    """Parts named after the one that moves (its tray, its strap) that are not told to go along."""
    if wish.part is None or wish.add or wish.remove or (wish.to is None and wish.by is None):
        return ()
    part = find(sheet, wish.part).name
    along = {find(sheet, name).name for name in wish.along}
    return tuple(p.name for p in sheet.parts if p.name != part and part in p.name and p.name not in along)
