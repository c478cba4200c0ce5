"""Where on the truck a part could go: what it would run into on the way, tyres at full lock and bump included.

Millimetres in the sheet frame. Every part counts as its box; what already overlaps the part where it is now (a frame
drawn as one block, a strap) is taken as meant and never stands in its way.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.behind import behind
from models.ends import corners
from models.errors import BuildSheetError
from models.nearest import meant
from models.spec import LOOSE_PART, PAIRED, HullShape, Part, Sheet
from models.tyrereach import tyre_points
from models.vector import Vector

AxisName = Literal["x", "y", "z"]
Kind = Literal["part", "tyre", "shell", "lead", "end"]
AXES: tuple[AxisName, ...] = ("x", "y", "z")
SLACK_MM = 0.25
"""Overlap that a ruler does not see."""
_WHEELS = ("front_wheels", "rear_wheels")


@dataclass(frozen=True)
class Box:
    """Something that takes up room."""

    name: str
    kind: Kind
    low: Vector
    """(3,) mm."""
    high: Vector


@dataclass(frozen=True)
class Blocked:
    """A stretch of positions where the part runs into something."""

    low: float
    """mm, of the part's own ``at_mm`` along the axis."""
    high: float
    by: str
    kind: Kind

    def depth(self, position: float) -> float:
        """How far (mm) the part would have to move along the axis to be clear of it; 0 outside the stretch."""
        return max(0.0, min(position - self.low, self.high - position))


@dataclass(frozen=True)
class Room:
    """Positions of one part along one axis."""

    part: str
    axis: AxisName
    now: float
    """mm, where it is."""
    low: float
    """mm, end of the truck or of the part's lead, whichever comes first."""
    high: float
    ends: tuple[str, str]
    """What the two ends are."""
    blocked: tuple[Blocked, ...]

    def at(self, position: float) -> tuple[Blocked, ...]:
        """What is in the way at a position, the deepest first."""
        found = [stretch for stretch in self.blocked if stretch.low < position < stretch.high]
        return tuple(sorted(found, key=lambda stretch: -stretch.depth(position)))

    def free(self) -> tuple[tuple[float, float], ...]:
        """Stretches where nothing is in the way, in order."""
        edges = sorted((b.low, b.high) for b in self.blocked if b.high > self.low and b.low < self.high)
        found, start = [], self.low
        for low, high in edges:
            if low >= start:
                found.append((start, min(low, self.high)))
            start = max(start, high)
        if start <= self.high:
            found.append((start, self.high))
        return tuple(found)


def room(
    sheet: Sheet, part: str, axis: AxisName = "x", *, along: Sequence[str] = (),
    by_mm: Sequence[float] = (0.0, 0.0, 0.0), lead_to: str | None = None,
) -> Room:
    """Look along one axis for where a part could go.

    :param along: parts that go with it.
    :param by_mm: offset off the present place at which the axis is looked along.
    :param lead_to: part at which its lead ends; left out, the speed control where the sheet has one.
    :raises BuildSheetError: no such part, or one that is not on the chassis or an axle.
    """
    lead_part = find(sheet, part)
    moving = [lead_part, *(find(sheet, name) for name in along)]
    for one in moving:
        if one.body in PAIRED:
            raise BuildSheetError("a part of a pair turns with its wheel or knuckle and cannot be swept.",
                                  remedy="Choose a part on the chassis or on an axle.", field="part", value=one.name)
    k = AXES.index(axis)
    offset = np.asarray(by_mm, dtype=float)
    own = [part_box(one) for one in moving]
    things = neighbours(sheet, {one.name for one in moving}, lead_part.body)
    things = [thing for thing in things if not any(overlaps(thing, box.low, box.high) for box in own)]
    blocked = [stretch for box in own for thing in things for stretch in _stretches(thing, box, offset, k)]
    blocked += _under_holes(sheet, moving, offset, k)
    for box in own:
        blocked += _tyre_stretches(sheet, lead_part.body, box, offset, k)
    now = lead_part.at_mm[k]
    low, high, ends = _ends(sheet, moving, own, k, lead_to)
    shifted = [Blocked(b.low + now, b.high + now, b.by, b.kind) for b in _merged(blocked)]
    return Room(part, axis, now, low + now, high + now, ends, tuple(shifted))


def lift_needed(
    sheet: Sheet, part: str, position: float, *, along: Sequence[str] = (), most_mm: float = 40.0
) -> float | None:
    """How far (mm, in halves) the part must be raised to be free at a position along x; None if that does not help."""
    for lift in np.arange(0.0, most_mm + 0.5, 0.5):
        looked = room(sheet, part, "x", along=along, by_mm=(0.0, 0.0, float(lift)))
        if looked.low <= position <= looked.high and not looked.at(position):
            return float(lift)
    return None


def find(sheet: Sheet, name: str) -> Part:
    """Find a part by its name; a beginning, or a word of it, that only one part has will do.

    :raises BuildSheetError: no such part, or several.
    """
    said = name.lower()
    near = [part for part in sheet.parts if part.name == name]
    near = near or [part for part in sheet.parts if part.name.lower() == said]
    near = near or [part for part in sheet.parts if part.name.lower().startswith(said)]
    near = near or [part for part in sheet.parts if said in part.name.lower().split()]
    if len(near) == 1:
        return near[0]
    known = ", ".join(sorted(part.name for part in (near or sheet.parts)))
    if near:
        raise BuildSheetError("more than one part is called like this.", field="part", value=name,
                              remedy=f"Choose one of: {known}.")
    raise BuildSheetError("this truck has no such part.", field="part", value=name,
                          remedy=meant(name, (part.name for part in sheet.parts), f"Parts of this truck: {known}."))


def part_box(part: Part | HullShape) -> Box:
    """The box of a part, or of a hard shape, where the sheet puts it."""
    at, half = np.array(part.at_mm), np.array(part.size_mm) / 2.0
    return Box(part.name, "shell" if part.shape == "shell" else "part", at - half, at + half)


def neighbours(sheet: Sheet, moving: set[str], body: str) -> list[Box]:
    """Everything else with a size, spread over its travel against the body the part rides on."""
    shells = [part_box(part) for part in sheet.parts if part.shape == "shell"]
    found = []
    for part in sheet.parts:
        # Wires, screws and glue that only the scale shows lie about: their box is no place of theirs.
        if part.name in moving or part.body in _WHEELS or not any(part.size_mm) or part.name == LOOSE_PART:
            continue
        box = part_box(part)
        for one in (box, _mirrored(box)) if part.body in PAIRED else (box,):
            found.append(_travelling(one, part.body, body, sheet))
    for shape in sheet.hull:
        if shape.name in moving or not any(shape.size_mm):
            continue
        box = part_box(shape)
        # The body shell's hull is its outside: the room within is free.
        if any(_inside(box, shell) for shell in shells):
            continue
        found.append(_travelling(box, shape.body, body, sheet))
    return found


def _inside(box: Box, shell: Box) -> bool:
    return bool(np.all(box.low[:2] >= shell.low[:2] - 1.0) and np.all(box.high <= shell.high + 1.0))


def _mirrored(box: Box) -> Box:
    flip = np.array([1.0, -1.0, 1.0])
    ends = np.sort(np.stack([box.low * flip, box.high * flip]), axis=0)
    return Box(box.name, box.kind, ends[0], ends[1])


def _travelling(box: Box, rides_on: str, body: str, sheet: Sheet) -> Box:
    up, down = travel(rides_on, body, sheet)
    return Box(box.name, box.kind, box.low - [0.0, 0.0, down], box.high + [0.0, 0.0, up])


def travel(rides_on: str, body: str, sheet: Sheet) -> tuple[float, float]:
    """How far (mm) something moves up and down against the body that the part rides on."""
    theirs, mine = _end_of(rides_on), _end_of(body)
    if theirs == mine:
        return 0.0, 0.0
    up, down = 0.0, 0.0
    if theirs:
        shock = getattr(sheet.axles, theirs).shock
        up, down = up + shock.bump_mm, down + shock.droop_mm
    if mine:
        shock = getattr(sheet.axles, mine).shock
        up, down = up + shock.droop_mm, down + shock.bump_mm
    return up, down


def _end_of(body: str) -> str:
    return body.partition("_")[0] if body != "chassis" else ""


def overlaps(thing: Box, low: Vector, high: Vector) -> bool:
    """Tell whether a box from low to high runs into a thing; within the walls of a shell it does not."""
    if thing.kind == "shell":
        return _straddles(thing, low, high)
    return bool(np.all(thing.low < high - SLACK_MM) and np.all(thing.high > low + SLACK_MM))


def _straddles(shell: Box, low: Vector, high: Vector) -> bool:
    touches = np.all(shell.low < high - SLACK_MM) and np.all(shell.high > low + SLACK_MM)
    within = np.all(shell.low[:2] <= low[:2] + SLACK_MM) and np.all(high <= shell.high + SLACK_MM)
    return bool(touches and not within)


def _stretches(thing: Box, box: Box, offset: Vector, k: int) -> Iterable[Blocked]:
    """Offsets along axis k at which the box, moved by ``offset`` across it, runs into the thing."""
    low, high = box.low + offset, box.high + offset
    low[k], high[k] = box.low[k], box.high[k]
    others = [i for i in range(3) if i != k]
    if not all(thing.low[i] < high[i] - SLACK_MM and thing.high[i] > low[i] + SLACK_MM for i in others):
        return ()
    first = float(thing.low[k] - high[k]) + SLACK_MM
    last = float(thing.high[k] - low[k]) - SLACK_MM
    if thing.kind != "shell":
        return (Blocked(first, last, thing.name, "part"),)
    # A shell is open below; what lies wholly within its walls is free.
    fits = all((i == 2 or thing.low[i] <= low[i] + SLACK_MM) and high[i] <= thing.high[i] + SLACK_MM for i in others)
    if not fits:
        return (Blocked(first, last, thing.name, "shell"),)
    inner_first = float(thing.low[k] - low[k]) - SLACK_MM
    inner_last = float(thing.high[k] - high[k]) + SLACK_MM
    front = Blocked(inner_last, last, thing.name, "shell")
    return (front,) if k == 2 else (Blocked(first, inner_first, thing.name, "shell"), front)


def _under_holes(sheet: Sheet, moving: Sequence[Part], offset: Vector, k: int) -> list[Blocked]:
    """Offsets along x or y at which a drill for the moved part's holes would meet something behind.

    What lies under the holes where they are now is what they are drilled into, and stays so.
    """
    if k == 2 or not any(part.holes for part in moving):
        return []
    level = min(float(part_box(part).low[2]) for part in moving if part.holes) + float(offset[2])
    holes = [(part.at_mm[0] + hole.at_mm[0], part.at_mm[1] + hole.at_mm[1]) for part in moving for hole in part.holes]
    found = []
    for area in behind(sheet, {part.name for part in moving}, level):
        if any(area.holds(hole) for hole in holes):
            continue
        for hole in holes:
            stretch = area.along((hole[0] + float(offset[0]), hole[1] + float(offset[1])), k)
            if stretch is not None:
                low, high = (end - hole[k] for end in stretch)
                found.append(Blocked(low, high, f"{area.name} behind a hole", "part"))
    return found


@dataclass(frozen=True)
class Rub:
    """A tyre that runs into something at full lock and bump."""

    tyre: str
    by: str
    depth: float
    """mm."""


def rubbing(sheet: Sheet) -> tuple[Rub, ...]:
    """Tyres that meet something on the chassis within their steering and travel, the deepest first.

    What the tyre meets while standing at ride height straight ahead is taken as a coarse box and left out.
    """
    around, riding = neighbours(sheet, set(), "chassis"), _riding(sheet)
    solid = [box for box in around if box.kind != "shell" and box.name not in riding]
    found: dict[tuple[str, str], Rub] = {}
    for end, word, axle, tyre, side in corners(sheet):
        points = tyre_points(axle, tyre, side, axle.shock.bump_mm, axle.shock.droop_mm)
        at_rest = tyre_points(axle.model_copy(update={"steer_deg": 0.0}), tyre, side, 0.0, 0.0)
        low, high = points.min(axis=0), points.max(axis=0)
        for box in solid:
            if not (np.all(box.low < high) and np.all(box.high > low)):
                continue
            depth = depth_in(points, box)
            if depth > SLACK_MM and depth_in(at_rest, box) <= SLACK_MM:
                rub = Rub(f"{end} {word} tyre", box.name, depth)
                key = (rub.tyre, rub.by)
                found[key] = max(found.get(key, rub), rub, key=lambda one: one.depth)
    return tuple(sorted(found.values(), key=lambda rub: -rub.depth))


def _riding(sheet: Sheet) -> set[str]:
    """Names of what rides on an axle: it steers or travels with the tyre."""
    parts = {part.name for part in sheet.parts if part.body != "chassis"}
    return parts | {shape.name for shape in sheet.hull if shape.body != "chassis"}


def depth_in(points: Vector, box: Box) -> float:
    """How deep (mm) the deepest of the points lies in a box; 0 if none does."""
    near = points
    for k in range(3):  # axis by axis: most points fall away at the first
        near = near[(near[:, k] > box.low[k]) & (near[:, k] < box.high[k])]
    if not len(near):
        return 0.0
    return float(np.minimum(near - box.low, box.high - near).min(axis=1).max())


def _tyre_stretches(sheet: Sheet, body: str, box: Box, offset: Vector, k: int) -> Iterable[Blocked]:
    low, high = box.low + offset + SLACK_MM, box.high + offset - SLACK_MM
    others = [i for i in range(3) if i != k]
    for end, word, axle, tyre, side in corners(sheet):
        points = tyre_points(axle, tyre, side, *travel(f"{end}_axle", body, sheet))
        inside = np.all([(points[:, i] > low[i]) & (points[:, i] < high[i]) for i in others], axis=0)
        here = np.all((points > box.low + SLACK_MM) & (points < box.high - SLACK_MM), axis=1)
        if inside.any() and not here.any():
            name = f"{end} {word} tyre at {'full lock and ' if axle.steer_deg else ''}bump"
            x = points[inside, k]
            first = float(x.min() - box.high[k]) + SLACK_MM
            yield Blocked(first, float(x.max() - box.low[k]) - SLACK_MM, name, "tyre")


def _merged(blocked: Iterable[Blocked]) -> list[Blocked]:
    """One stretch per thing where several boxes run into it side by side."""
    found: list[Blocked] = []
    for stretch in sorted(blocked, key=lambda b: (b.kind, b.by, b.low)):
        last = found[-1] if found else None
        if last is not None and (last.kind, last.by) == (stretch.kind, stretch.by) and stretch.low <= last.high:
            found[-1] = Blocked(last.low, max(last.high, stretch.high), last.by, last.kind)
        elif stretch.high > stretch.low:
            found.append(stretch)
    return sorted(found, key=lambda b: b.low)


def _ends(
    sheet: Sheet, moving: Sequence[Part], own: Sequence[Box], k: int, lead_to: str | None
) -> tuple[float, float, tuple[str, str]]:
    """Offsets at which the truck, or the lead of something that moves, ends."""
    whole: list[Part | HullShape] = [*sheet.parts, *sheet.hull]
    things = [(one.body, part_box(one)) for one in whole]
    # Downwards the truck ends where what is as far off the ground as the part does: not at its wheels' foot.
    every = [box for body, box in things if k != 2 or _end_of(body) == _end_of(moving[0].body)]
    reach = float(max(abs(box.high[k]) for box in every)) if k == 1 else None
    low = (-reach if reach else float(min(box.low[k] for box in every))) - min(box.low[k] for box in own)
    high = (reach if reach else float(max(box.high[k] for box in every))) - max(box.high[k] for box in own)
    names = (("rear", "front"), ("right side", "left side"), ("underside", "top"))[k]
    words = [f"the truck's {name}" for name in names]
    goes_along = {one.name for one in moving}
    for part in moving:
        lead = _lead(sheet, part, k, lead_to, goes_along)
        if lead is not None and lead[0] > low:
            low, words[0] = lead[0], f"the lead's length ({part.lead_mm:g} mm)"
        if lead is not None and lead[1] < high:
            high, words[1] = lead[1], f"the lead's length ({part.lead_mm:g} mm)"
    return min(low, 0.0), max(high, 0.0), (words[0], words[1])


def _lead(sheet: Sheet, part: Part, k: int, lead_to: str | None, goes_along: set[str]) -> tuple[float, float] | None:
    """Offsets that a part's lead allows, from centre to centre."""
    if part.lead_mm is None:
        return None
    others = [one for one in sheet.parts if "speed control" in one.name.lower() and one.name != part.name]
    if lead_to is None and not others:
        return None
    plug = find(sheet, lead_to) if lead_to is not None else others[0]
    if plug.name in goes_along:
        return None
    gap = np.array(plug.at_mm) - np.array(part.at_mm)
    across = float(np.delete(gap, k) @ np.delete(gap, k))
    reach = float(np.sqrt(max(part.lead_mm**2 - across, 0.0)))
    return float(gap[k]) - reach, float(gap[k]) + reach
