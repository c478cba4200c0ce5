"""A truck's two ends and four corners, in the order of every list over axles and wheels."""

from __future__ import annotations

from collections.abc import Iterator

from models.spec import Axle, Sheet, Tyre


def ends(sheet: Sheet) -> tuple[tuple[str, Axle, Tyre], tuple[str, Axle, Tyre]]:
    """``front`` and ``rear``, each with its axle and tyres."""
    return ("front", sheet.axles.front, sheet.tyres.front), ("rear", sheet.axles.rear, sheet.tyres.rear)


def corners(sheet: Sheet) -> Iterator[tuple[str, str, Axle, Tyre, float]]:
    """End, word of the side, axle, tyre and side (1 is left, -1 right) of every wheel."""
    for end, axle, tyre in ends(sheet):
        yield end, "left", axle, tyre, 1.0
        yield end, "right", axle, tyre, -1.0
