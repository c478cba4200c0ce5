"""What the truck screen shows of a desk: numbers, conflicts, both drawings, what is known of every part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from models.conflict import Conflict
from models.defaults import resolve
from models.errors import BuildSheetError
from models.spec import PAIRED, Part, Sheet
from sim.decision.drilling import template
from sim.errors import SimError
from sim.page.desk import Desk
from sim.page.drawing import Look, anchor, drawing, movable, over
from sim.page.edits import Edits, Place
from sim.page.numbers import NumberRow, Standing, rows, standing


@dataclass(frozen=True)
class Bench:
    """One look at the truck."""

    side: Markup
    top: Markup
    groups: Mapping[str, Sequence[NumberRow]]
    conflicts: tuple[str, ...]
    holes: tuple[str, ...]
    """What is wrong with the holes to be drilled."""
    drills: int
    """New holes."""
    price: str
    sheet: Sheet


@dataclass(frozen=True)
class Hold:
    """One look at the truck while parts are being pulled: what changes with every step of the hand."""

    side: Markup
    top: Markup
    groups: Mapping[str, Sequence[NumberRow]]
    conflicts: tuple[str, ...]
    holes: tuple[str, ...]
    price: str


@dataclass(frozen=True)
class PartRow:
    """A part in the list, with what it weighs and how that is known."""

    part: Part
    anchor: str
    grams: float
    grams_key: str
    source: str
    movable: bool
    changed: bool


class Looker:
    """Looks at one desk again and again; keeps what does not change between two looks."""

    def __init__(self, desk: Desk) -> None:
        """Look at a desk."""
        self._desk = desk
        self._of: Sheet | None = None
        self._opened: Standing | None = None
        self._settled: tuple[Edits, tuple[Conflict, ...]] | None = None

    def look(self, edits: Edits, selected: str = "") -> Bench:
        """Look at the truck with some edits.

        :raises BuildSheetError: The edits do not make a truck.
        """
        desk = self._desk
        with desk.lock:
            sheet = resolve(desk.sheet(edits))
            now = standing(sheet)
            found = self._conflicts(edits, ())
            holes, drills = _holes(desk.opened, sheet, edits)
            look = self._marked(selected, found, edits, holes)
            return Bench(drawing(sheet, now, "side", look), drawing(sheet, now, "top", look), self._rows(now),
                         tuple(one.text for one in found), holes, drills, _price(sheet, edits), sheet)

    def hold(self, edits: Edits, names: Sequence[str]) -> Hold:
        """Look at the truck while some parts are pulled; nothing else has changed since it was last kept.

        Only these parts are looked after, the others' conflicts stay; what stays is not worked out or drawn anew. The
        whole check of the sheet comes when the parts are let go.

        :param edits: Everything done, with the parts where the hand is.
        :param names: The parts, the one in the hand first.
        :raises BuildSheetError: The truck would not stand.
        """
        desk = self._desk
        with desk.lock:
            base, sheet = desk.carried(edits, names)
            now = standing(sheet)
            found = self._conflicts(edits, names)
            holes, _ = _holes(desk.opened, sheet, edits)
            look = self._marked(names[0], found, edits, holes)
            return Hold(over(sheet, now, "side", look, base, names), over(sheet, now, "top", look, base, names),
                        self._rows(now), tuple(one.text for one in found), holes, _price(sheet, edits))

    def _marked(self, selected: str, found: Sequence[Conflict], edits: Edits, holes: Sequence[str]) -> Look:
        bad = frozenset(name for one in found for name in (one.part, one.by))
        return Look(selected, bad, self._desk.opened if edits else None, bool(holes))

    def _rows(self, now: Standing) -> dict[str, list[NumberRow]]:
        groups: dict[str, list[NumberRow]] = {}
        for row in rows(now, self._before()):
            groups.setdefault(row.group, []).append(row)
        return groups

    def _before(self) -> Standing:
        if self._opened is None or self._of is not self._desk.opened:
            self._of, self._opened = self._desk.opened, standing(resolve(self._desk.opened))
        return self._opened

    def _conflicts(self, edits: Edits, held: Sequence[str]) -> tuple[Conflict, ...]:
        desk = self._desk
        if not held:
            if self._settled is None or self._settled[0] != edits:
                found = [one for group in _groups(desk.opened, edits) for one in self._group(edits, group)]
                self._settled = (edits, tuple(found))
            return self._settled[1]
        others = () if self._settled is None else self._settled[1]
        return (*(one for one in others if one.part not in held), *self._group(edits, held))

    def _group(self, edits: Edits, names: Sequence[str]) -> tuple[Conflict, ...]:
        around = self._desk.around(edits, names)
        opened = {part.name: part.at_mm for part in self._desk.opened.parts}
        place, base = edits.place(names[0], opened), opened.get(names[0])
        if place is None or base is None:
            return around.at((0.0, 0.0, 0.0))
        return around.at([to - at for to, at in zip(place, base, strict=True)])

    def part_rows(self, bench: Bench) -> list[PartRow]:
        """List the parts, those that nobody measured first."""
        opened = {part.name: part for part in self._desk.opened.parts}
        out = []
        for part in bench.sheet.parts:
            each = part.body in PAIRED
            grams = (part.mass_each_g if each else part.mass_g) or 0.0
            out.append(PartRow(part, anchor(part.name), grams, "mass_each_g" if each else "mass_g", part.source,
                               movable(part), opened.get(part.name) != part))
        return sorted(out, key=lambda row: (row.source != "assumed", -row.grams))


def companions(sheet: Sheet, name: str) -> list[str]:
    """Parts that lie against another one from below or above and are no larger: what is likely to go along."""
    one = next((part for part in sheet.parts if part.name == name), None)
    if one is None:
        return []
    found = []
    for other in sheet.parts:
        if other.name == name or not movable(other) or other.body != one.body:
            continue
        gap = abs(other.at_mm[2] - one.at_mm[2]) - (other.size_mm[2] + one.size_mm[2]) / 2
        over = all(abs(other.at_mm[k] - one.at_mm[k]) < (other.size_mm[k] + one.size_mm[k]) / 2 - 1 for k in (0, 1))
        smaller = all(other.size_mm[k] <= 1.3 * one.size_mm[k] for k in (0, 1))
        if abs(gap) <= 1.0 and over and smaller:
            found.append(other.name)
    return found


def _groups(opened: Sheet, edits: Edits) -> list[list[str]]:
    """Moved parts, those together that went the same way."""
    before = {part.name: part.at_mm for part in opened.parts}
    bodies = {part.name: part.body for part in opened.parts}
    by_offset: dict[tuple[str, Place], list[str]] = {}
    for name, place in edits.places.items():
        x, y, z = (to - at for to, at in zip(place, before[name], strict=True))
        by_offset.setdefault((bodies[name], (x, y, z)), []).append(name)
    return [*by_offset.values(), *([str(part["name"])] for part in edits.added if any(part.get("size_mm", ())))]


def _holes(opened: Sheet, sheet: Sheet, edits: Edits) -> tuple[tuple[str, ...], int]:
    if not edits:
        return (), 0
    try:
        made = template(opened, sheet, "")
    except (SimError, BuildSheetError):
        return (), 0
    return made.faults, len(made.new)


def _price(sheet: Sheet, edits: Edits) -> str:
    base = sheet.truck_price
    words = [f"truck {base.price:g} {base.currency}"] if base else []
    cost = edits.change("on the page").cost if edits.added else None
    words += [f"changes {cost.price:g} {cost.currency}"] if cost else []
    return "; ".join(words) or "none given"
