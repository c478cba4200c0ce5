"""What lies behind a drill: parts, link rods and tyres under a hole, as outlines seen from above.

Plan view in the sheet frame, mm: x forward from the rear axle's centre, y left. The drilling sheet draws these outlines
and the search for a free place keeps holes off them, so that neither calls free what the other forbids.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.ends import corners, ends
from models.spec import LOOSE_PART, PAIRED, Part, Sheet
from models.tyrereach import outline_above

BEHIND_MM = 30.0
"""How far below the drilled level something counts as lying behind the drill."""
ROD_SHARE = 0.05
"""Thickness of a link rod with its ends, as a share of the track: 5 mm on a 1/24 (common practice, no source)."""
Point = tuple[float, float]


@dataclass(frozen=True)
class KeepOut:
    """An area not to drill into."""

    name: str
    corners: tuple[Point, ...]
    """Outline, mm; convex."""
    rod: bool = False
    """A link rod: it can be taken off to drill, but what is screwed in meets it afterwards."""

    def holds(self, at: Sequence[float]) -> bool:
        """Whether a point lies inside."""
        x, y = at[0], at[1]
        left = right = False
        # A few corners at a time: the page asks this at every step of a hand, for areas that are mostly elsewhere.
        for (x0, y0), (x1, y1) in zip(self.corners, (*self.corners[1:], self.corners[0]), strict=True):
            turn = (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)
            left, right = left or turn > 0.0, right or turn < 0.0
            if left and right:
                return False
        return True

    def along(self, at: Sequence[float], k: int) -> tuple[float, float] | None:
        """Where a line through a point along x (0) or y (1) enters and leaves; None where it passes by."""
        other = 1 - k
        found = []
        for one, two in zip(self.corners, (*self.corners[1:], self.corners[0]), strict=True):
            low, high = sorted((one[other], two[other]))
            if low <= at[other] <= high and high > low:
                found.append(one[k] + (at[other] - one[other]) / (two[other] - one[other]) * (two[k] - one[k]))
        return (min(found), max(found)) if found and max(found) > min(found) else None


def outline(part: Part) -> KeepOut:
    """A part's box from above."""
    (x, y), (length, width) = part.at_mm[:2], part.size_mm[:2]
    x0, x1, y0, y1 = x - length / 2.0, x + length / 2.0, y - width / 2.0, y + width / 2.0
    return KeepOut(part.name, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def behind(sheet: Sheet, moved: Collection[str], level: float, drilled: Part | None = None) -> tuple[KeepOut, ...]:
    """Parts and link rods under a level (mm), and where the tyres come at full lock and bump.

    :param moved: Parts that go away with the holes.
    :param drilled: The part that the holes are for.
    """
    found = []
    for part in sheet.parts:
        # Wires, screws and glue that only the scale shows lie about: their box is no place of theirs.
        left_out = part.name in moved or part is drilled or part.body in PAIRED or part.shape == "shell"
        if left_out or part.name == LOOSE_PART or min(part.size_mm[:2]) <= 0.0:
            continue
        low, high = part.at_mm[2] - part.size_mm[2] / 2.0, part.at_mm[2] + part.size_mm[2] / 2.0
        if low < level and high > level - BEHIND_MM:
            found.append(outline(part))
    for end, axle, _ in ends(sheet):
        for link in axle.links:
            rod = rod_outline(link.chassis_mm, link.axle_mm, level, ROD_SHARE * axle.track_mm)
            if rod:
                found.append(KeepOut(f"{end} link, {link.name}", rod, rod=True))
    for end, word, axle, tyre, side in corners(sheet):
        points = outline_above(axle, tyre, side, axle.shock.bump_mm, level - BEHIND_MM)
        if points:
            found.append(KeepOut(f"{end} {word} tyre", points))
    return tuple(found)


@lru_cache(maxsize=64)
def rod_outline(one: Sequence[float], other: Sequence[float], level: float, width: float) -> tuple[Point, ...]:
    """Rectangle over the piece of a rod that lies as deep as a drill comes through; empty where none does."""
    a, b = np.array(one, dtype=float), np.array(other, dtype=float)
    rise = b[2] - a[2]
    ends = (level - BEHIND_MM, level)
    if abs(rise) < 1e-9:
        first, last = (0.0, 1.0) if ends[0] < a[2] < ends[1] else (1.0, 0.0)
    else:
        first, last = sorted((height - a[2]) / rise for height in ends)
    first, last = max(first, 0.0), min(last, 1.0)
    if last <= first:
        return ()
    start, stop = (a + first * (b - a))[:2], (a + last * (b - a))[:2]
    run = stop - start
    length = float(np.hypot(*run))
    along = run / length if length > 0.0 else np.array([1.0, 0.0])
    ahead, aside = 0.5 * width * along, 0.5 * width * np.array([-along[1], along[0]])
    corners = (start - ahead - aside, stop + ahead - aside, stop + ahead + aside, start - ahead + aside)
    return tuple((float(x), float(y)) for x, y in corners)
