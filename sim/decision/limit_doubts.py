"""What each thing that is not known of a truck does to the levels at which it stops clearing: driven low and high."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.decision.limit_search import Case
from sim.decision.obstacle_mix import Line
from sim.decision.runner import Field
from sim.decision.unknowns import FAR, Prior, values

REPEATS = 4
"""Of each truck; all of them in the luck of the same repeats, so that few will rank."""
_FIRST = 10_000
"""Number of the first case with a value away from the sheet's."""


@dataclass(frozen=True)
class Swing:
    """One unknown on one line: mean limit with the sheet's values, and how far it moves, in the line's unit."""

    unknown: Prior
    line: Line
    limit: float
    low: float
    """Of the limit, with the unknown two standard deviations below the sheet's value."""
    high: float
    """With it as far above."""

    @property
    def width(self) -> float:
        """Larger of the two moves, as a share of the range of levels, so that mm and degrees can be ranked."""
        return max(abs(self.low), abs(self.high)) / (self.line.span[1] - self.line.span[0])


def cast(unknowns: Sequence[Prior], driver: str) -> dict[int, Case]:
    """Every unknown low and high by itself, in the luck of every repeat."""
    found = {}
    for k, one in enumerate(unknowns):
        for end, far in enumerate((-FAR, FAR)):
            for repeat in range(REPEATS):
                point = [0.0] * len(unknowns)
                point[k] = far if not one.choices else float(end)
                who = one.choices[end] if one.choices else driver
                found[_number(k, end, repeat)] = Case(repeat, who, values(unknowns, point), repeat)
    return found


def swings(field: Field, lines: Sequence[Line], truck: str, unknowns: Sequence[Prior]) -> tuple[Swing, ...]:
    """Find them, the widest first.

    :param field: opened with the cases of :func:`cast`.
    :param truck: Hash of the truck, the field's base.
    :raises Stopped: Ctrl-C.
    """
    field.find([truck], [*range(REPEATS), *cast(unknowns, "steady")])
    found = []
    for number, line in enumerate(lines):
        own = {repeat: field.searches.value(truck, number, repeat) for repeat in range(REPEATS)}
        limits = [value for value in own.values() if value is not None]
        for k, one in enumerate(unknowns):
            low, high = (_move(field, truck, number, own, k, end) for end in (0, 1))
            found.append(Swing(one, line, float(np.mean(limits)) if limits else np.nan, low, high))
    return tuple(sorted(found, key=lambda swing: -np.nan_to_num(swing.width, nan=-1.0)))


def _move(field: Field, truck: str, line: int, own: Mapping[int, float | None], k: int, end: int) -> float:
    moves = []
    for repeat, was in own.items():
        now = field.searches.value(truck, line, _number(k, end, repeat))
        if now is not None and was is not None:
            moves.append(now - was)
    return float(np.mean(moves)) if moves else np.nan


def _number(k: int, end: int, repeat: int) -> int:
    return _FIRST + (2 * k + end) * REPEATS + repeat
