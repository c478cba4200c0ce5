"""What a part runs into at the place where it is held: the quick look while it is being moved.

Millimetres in the sheet frame. :func:`models.room.room` sweeps a whole axis; here everything that stays where it is is
prepared once, so that a look at one place takes milliseconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.ends import corners
from models.errors import BuildSheetError
from models.room import SLACK_MM, Box, Kind, depth_in, find, neighbours, overlaps, part_box, travel
from models.spec import PAIRED, Axle, Sheet, Tyre
from models.tyrereach import tyre_points
from models.vector import Vector


@dataclass(frozen=True)
class Conflict:
    """Something that is where the moved part is, or comes there."""

    part: str
    by: str
    kind: Kind
    depth: float
    """mm, how far they are in each other at least."""

    @property
    def text(self) -> str:
        """The conflict in words."""
        if self.kind == "tyre":
            return f"the {self.by} rubs on {self.part} at full lock and bump, {self.depth:.1f} mm deep"
        if self.kind == "shell":
            return f"{self.part} goes through the wall of {self.by}"
        return f"{self.part} and {self.by} overlap by {self.depth:.1f} mm"


@dataclass(frozen=True)
class _Tyre:
    name: str
    points: Vector
    """Sorted by y, so that a box reaches a run of them."""
    low: Vector
    high: Vector


class Surroundings:
    """Everything about some parts that move together, which stays where it is."""

    def __init__(self, sheet: Sheet, parts: Sequence[str], *, meant: bool = True) -> None:
        """Prepare the look.

        :param meant: what overlaps a part where the sheet has it (a frame drawn as one block, a strap) is taken as
            meant; False for a part that was only just put there.
        :raises BuildSheetError: no such part, or parts on different bodies or turning with a wheel.
        """
        moving = [find(sheet, name) for name in parts]
        bodies = {part.body for part in moving}
        if len(bodies) != 1 or bodies & set(PAIRED):
            raise BuildSheetError("these parts cannot be moved together.",
                                  remedy="Choose parts that ride on one body, the chassis or an axle.", field="part",
                                  value=list(parts))
        body = bodies.pop()
        self._own = [part_box(part) for part in moving]
        around = neighbours(sheet, set(parts), body)
        self._around = [
            box for box in around if not meant or not any(overlaps(box, own.low, own.high) for own in self._own)
        ]
        tyres = []
        for end, word, axle, tyre, side in corners(sheet):
            points = _sorted(axle, tyre, side, *travel(f"{end}_axle", body, sheet))
            tyres.append(_Tyre(f"{end} {word} tyre", points, points.min(axis=0), points.max(axis=0)))
        self._tyres = {
            own.name: [t for t in tyres if not meant or _reached(t, own.low, own.high) <= SLACK_MM]
            for own in self._own
        }

    def at(self, by_mm: Sequence[float]) -> tuple[Conflict, ...]:
        """What is in the way when all the parts are moved by an offset, the deepest first."""
        offset = np.asarray(by_mm, dtype=float)
        found = []
        for own in self._own:
            low, high = own.low + offset, own.high + offset
            found += [Conflict(own.name, box.name, box.kind, _shared(box, low, high))
                      for box in self._around if overlaps(box, low, high)]
            for tyre in self._tyres[own.name]:
                depth = _reached(tyre, low, high)
                if depth > SLACK_MM:
                    found.append(Conflict(own.name, tyre.name, "tyre", depth))
        deepest = {(one.part, one.by): one for one in sorted(found, key=lambda one: one.depth)}
        return tuple(sorted(deepest.values(), key=lambda one: -one.depth))


def _shared(box: Box, low: Vector, high: Vector) -> float:
    """Least side (mm) of the block that two boxes share."""
    return float((np.minimum(box.high, high) - np.maximum(box.low, low)).min())


def _reached(tyre: _Tyre, low: Vector, high: Vector) -> float:
    if np.any(tyre.low >= high) or np.any(tyre.high <= low):
        return 0.0
    first, last = np.searchsorted(tyre.points[:, 1], [low[1], high[1]])
    return depth_in(tyre.points[first:last], Box("", "part", low, high))


@lru_cache(maxsize=16)
def _sorted(axle: Axle, tyre: Tyre, side: float, up: float, down: float) -> Vector:
    points = tyre_points(axle, tyre, side, up, down)
    return points[np.argsort(points[:, 1])]
