"""Which changes can be on one truck together."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from models.change import Change
from models.errors import BuildSheetError
from models.key import join
from models.setting import settings, steps_of
from models.spec import Sheet


def check_together(sheet: Sheet, changes: Sequence[Change]) -> None:
    """Check that changes fit the truck's scale and each other.

    :raises BuildSheetError: another scale, a change given twice, two that exclude each other or touch the same thing.
    """
    for change in changes:
        if change.scale is not None and abs(change.scale - sheet.scale) > 0.5:
            raise BuildSheetError(
                f'is made for 1/{change.scale:g} trucks; "{sheet.name}" is 1/{sheet.scale:g}.',
                remedy="Pick a change for this truck, or copy its file and adapt places, masses and scale.",
                field="scale", value=change.scale,
            ).at(change=change.name)
    for one, other in combinations(changes, 2):
        _check_pair(one, other)


def _check_pair(one: Change, other: Change) -> None:
    if one.name == other.name:
        raise BuildSheetError("is given twice.", remedy="Leave one out, or give the second its own name.").at(
            change=one.name
        )
    if other.name in one.excludes or one.name in other.excludes:
        raise BuildSheetError(f'"{one.name}" and "{other.name}" exclude each other.', remedy="Use one of the two.",
                              field="excludes")
    for touched, words in (
        (_taken, "both take out the part"),
        (_placed, "both put elsewhere the part"),
        (_keys, "both set"),
    ):
        both = sorted(touched(one) & touched(other))
        if both:
            raise BuildSheetError(f'"{one.name}" and "{other.name}" {words} {both[0]}.',
                                  remedy="Use one of the two, or make one change of both.")


def _taken(change: Change) -> set[str]:
    return {*change.remove, *(replacement.part for replacement in change.replace)}


def _placed(change: Change) -> set[str]:
    return {move.part for move in change.move if move.part is not None and move.to_mm is not None}


def _keys(change: Change) -> set[str]:
    return {*(join(steps_of(key)) for key in change.unset), *(join(steps) for steps, _ in settings(change))}
