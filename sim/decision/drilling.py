"""The drilling sheet: old and new holes, what must not be drilled into, and whether edges and spacing are safe.

Plan view from above in the sheet frame, mm: x forward from the rear axle's centre, y left.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.behind import BEHIND_MM, KeepOut, behind, outline
from models.room import part_box
from models.spec import Part, Sheet
from sim.errors import SimError

Array = NDArray[np.float64]
EDGE_DIAMETERS = 2.0
"""Least distance from a hole's centre to an edge, in its diameters (common practice, no source)."""
SPACING_DIAMETERS = 3.0
"""Least distance between centres (common practice, no source)."""
CAUTIONS = (
    "Pack OUT of the truck before anything is drilled, filed or screwed; not back in until the last chip is gone.",
    "Eye protection on. Clamp the work, use a drill stop, look what is behind. Children and pets away.",
    "Measure both 100 mm bars before use: if either is off, print again at 100 % (no fit to page).",
    "Centre-punch, drill small first, deburr both sides, collect the chips (no blowing; carbon dust: mask).",
    "No screw tip may point at the pack or a wire: cap or shorten it. No sharp edge under the pack.",
    "Brass and lead dust is poisonous, carbon dust harmful: wet or over a tray, mask, wash hands, away from food.",
    "Carbon and metal conduct: tape them where wires run. Thread-locker attacks plastics.",
    "Weigh and tilt the truck again afterwards: the centre of gravity has moved.",
    "The instructions of the makers of truck, pack and tools, and your local rules, come before this sheet.",
)


@dataclass(frozen=True)
class Drill:
    """One hole on the plan."""

    part: str
    at: tuple[float, float]
    """mm, x forward and y left of the datum."""
    diameter: float


@dataclass(frozen=True)
class Template:
    """Everything on one drilling sheet."""

    truck: str
    title: str
    old: tuple[Drill, ...]
    new: tuple[Drill, ...]
    kept: tuple[Drill, ...]
    """Holes that stay as they are."""
    keep_out: tuple[KeepOut, ...]
    plate: KeepOut | None
    """Outline of the part that is drilled."""
    faults: tuple[str, ...]
    """What is wrong with edges, spacing and places, each with its number."""
    spacing: tuple[tuple[int, int, float], ...]
    """Distances between new holes: numbers (from 0) and mm."""
    placed: tuple[KeepOut, ...] = ()
    """Outlines of the parts that the new holes hold, where they go."""

    @property
    def from_edge(self) -> tuple[str, ...]:
        """Where hole 1 lies from the edges of the drilled part, which a ruler can be laid against; mm."""
        if self.plate is None:
            return ()
        (rear, right), (front, left) = self.plate.corners[0], self.plate.corners[2]
        x, y = self.new[0].at
        along = f"{front - x:.1f} mm behind the front edge"
        if x - rear < front - x:
            along = f"{x - rear:.1f} mm ahead of the rear edge"
        across = f"{left - y:.1f} mm from the left" if left - y < y - right else f"{y - right:.1f} mm from the right"
        return (f"hole 1: {along},", f"  {across} edge of {self.plate.name}")


def template(before: Sheet, after: Sheet, title: str, into: str | None = None) -> Template:
    """Work out the sheet for going from one truck to another.

    :param before: Truck as it is.
    :param after: Truck as it will be.
    :param title: What is done.
    :param into: Part that is drilled; left out, the flat part under most of the new holes.
    :raises SimError: Nothing moves that has holes, or no such part to drill.
    """
    was, will = _holes(before), _holes(after)
    new = tuple(hole for hole in will if hole not in was)
    old = tuple(hole for hole in was if hole not in will)
    if not new:
        raise SimError("no part with holes is moved or added, so there is nothing to drill", field="holes",
                       remedy="Give the part (or its tray) holes = [{ at_mm = [x, y], diameter_mm = d }] on the "
                              "build sheet")
    kept = tuple(hole for hole in will if hole in was)
    moved = {hole.part for hole in new}
    level = min(float(part_box(part).low[2]) for part in after.parts if part.name in moved)
    plate = _plate(after, moved, new, level, into)
    keep_out = behind(after, moved, level, plate)
    spacing = tuple((i, j, math.dist(new[i].at, new[j].at)) for i, j in itertools.combinations(range(len(new)), 2))
    faults = (*_edges(new, plate), *_crowded(new, spacing), *_near_old(new, (*old, *kept)), *_blocked(new, keep_out))
    placed = tuple(outline(part) for part in after.parts if part.name in moved)
    return Template(after.name, title, old, new, kept, keep_out, None if plate is None else outline(plate),
                    faults, spacing, placed)


def holes_to_drill(before: Sheet, after: Sheet) -> int:
    """How many holes there are on one truck that the other has not; 0 too where no part's holes are on the sheet."""
    was = _holes(before)
    return sum(hole not in was for hole in _holes(after))


def edge_distance(at: Sequence[float], low: Array, high: Array) -> float:
    """Distance (mm) of a point inside a rectangle to its nearest edge; negative outside."""
    x, y = at
    return float(min(x - low[0], high[0] - x, y - low[1], high[1] - y))


def _holes(sheet: Sheet) -> list[Drill]:
    return [
        Drill(part.name, (part.at_mm[0] + hole.at_mm[0], part.at_mm[1] + hole.at_mm[1]), hole.diameter_mm)
        for part in sheet.parts for hole in part.holes
    ]


def _plate(sheet: Sheet, moved: set[str], new: Sequence[Drill], level: float, into: str | None) -> Part | None:
    if into is not None:
        found = next((part for part in sheet.parts if part.name == into), None)
        if found is None:
            known = ", ".join(sorted(part.name for part in sheet.parts if part.body == "chassis"))
            raise SimError("this truck has no such part to drill", field="into", value=into,
                           remedy=f"Choose one of: {known}")
        return found
    best, most = None, 0
    for part in sheet.parts:
        box = part_box(part)
        beneath = part.body == "chassis" and part.name not in moved and part.shape == "box"
        if not (beneath and box.low[2] < level and box.high[2] > level - BEHIND_MM):
            continue
        over = sum(edge_distance(hole.at, box.low, box.high) >= 0.0 for hole in new)
        if over > most:
            best, most = part, over
    return best


def _edges(new: Sequence[Drill], plate: Part | None) -> list[str]:
    if plate is None:
        return ["no flat part lies under the new holes: edge distances cannot be checked (name it with --into)"]
    box = part_box(plate)
    found = []
    for number, hole in enumerate(new, start=1):
        gap = edge_distance(hole.at, box.low, box.high)
        least = EDGE_DIAMETERS * hole.diameter
        if gap < 0.0:
            found.append(f"hole {number} lies {-gap:.1f} mm outside of {plate.name}")
        elif gap < least:
            found.append(f"hole {number} is {gap:.1f} mm from the edge of {plate.name}, at least {least:.1f} is usual")
    return found


def _crowded(new: Sequence[Drill], spacing: Sequence[tuple[int, int, float]]) -> list[str]:
    return [
        f"holes {i + 1} and {j + 1} are {gap:.1f} mm apart, at least {least:.1f} is usual"
        for i, j, gap in spacing
        if gap < (least := SPACING_DIAMETERS * max(new[i].diameter, new[j].diameter))
    ]


def _near_old(new: Sequence[Drill], old: Sequence[Drill]) -> list[str]:
    found = []
    for number, hole in enumerate(new, start=1):
        for other in old:
            gap, least = math.dist(hole.at, other.at), SPACING_DIAMETERS * max(hole.diameter, other.diameter)
            if gap < least:
                found.append(f"hole {number} is {gap:.1f} mm from a hole that is there, at least {least:.1f} is usual")
    return found


def _blocked(new: Sequence[Drill], keep_out: Sequence[KeepOut]) -> list[str]:
    return [
        f"hole {number} lies over {area.name}: "
        + ("the screw's end would meet it within its travel; choose another place" if area.rod else "keep out")
        for number, hole in enumerate(new, start=1) for area in keep_out if area.holds(hole.at)
    ]
