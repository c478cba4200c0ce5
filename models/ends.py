"""A truck's two ends and four corners, in the order of every list over axles and wheels."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from models.spec import Axle, Sheet, Tyre


class End(NamedTuple):
    """One axle with its tyres."""

    name: str
    """``front`` or ``rear``, as in the sheet's keys."""
    axle: Axle
    tyre: Tyre


class Corner(NamedTuple):
    """One wheel's place."""

    end: End
    side: float
    """1 on the left, -1 on the right."""

    @property
    def tyre_name(self) -> str:
        """As messages call its tyre."""
        return f"{self.end.name} {'left' if self.side > 0.0 else 'right'} tyre"


def ends(sheet: Sheet) -> tuple[End, End]:
    """Front and rear."""
    return End("front", sheet.axles.front, sheet.tyres.front), End("rear", sheet.axles.rear, sheet.tyres.rear)


def corners(sheet: Sheet) -> Iterator[Corner]:
    """Front left, front right, rear left, rear right."""
    return (Corner(end, side) for end in ends(sheet) for side in (1.0, -1.0))
