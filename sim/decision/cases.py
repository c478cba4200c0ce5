"""The cases that a question is driven in beside plain luck: values drawn for what is not known, luck met again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sim.decision import unknowns as what
from sim.decision.effect import FEWEST, paired
from sim.decision.judgement import Spread
from sim.decision.limit_search import Case
from sim.decision.obstacle_mix import Line
from sim.decision.unknowns import Prior
from sim.errors import SimError

if TYPE_CHECKING:
    from sim.decision.runner import Field

Array = NDArray[np.float64]
FIRST = 10_000
"""Number of the first case with drawn values; smaller ones are repeats with the sheet's own."""
USUAL = 12
"""Cases with drawn values."""


@dataclass(frozen=True)
class Cases:
    """Cases with values away from the sheet's, each with the luck of a repeat that is driven as the sheet says too."""

    unknowns: tuple[Prior, ...]
    points: Array
    """(cases, unknowns) in standard deviations."""
    luck: tuple[int, ...]
    """(cases,) repeat whose luck is met."""
    driver: str
    """Who drives where the driver is not drawn."""
    joint: bool = False
    """Whether the values belong to the repeats themselves: then every truck meets them, and none is driven without."""

    @property
    def numbers(self) -> range:
        """Their numbers."""
        first = 0 if self.joint else FIRST
        return range(first, first + len(self.luck))

    def by_number(self) -> dict[int, Case]:
        """For :class:`sim.decision.limit_search.SearchSetting`."""
        found = {}
        for number, point, luck in zip(self.numbers, self.points, self.luck, strict=True):
            found[number] = Case(luck, what.driver(self.unknowns, point, self.driver),
                                 what.values(self.unknowns, point), 0 if self.joint else luck)
        return found

    def added(self, field: Field, lines: tuple[Line, ...], base: str, changed: str,
              chosen: Sequence[int] | None = None) -> tuple[Array, Array]:
        """Drive both trucks in these cases (all): (n, unknowns) points, and (n,) what they add to the gain, points.

        :raises SimError: Fewer than half of the cases have a result.
        """
        which = list(range(len(self.luck))) if chosen is None else list(chosen)
        numbers = [self.numbers[k] for k in which]
        field.find([changed], numbers)
        alone = paired(field.searches, lines, [base, changed], sorted({self.luck[k] for k in which}))
        there = paired(field.searches, lines, [base, changed], numbers)
        own = dict(zip(alone.cases, alone.gain(changed), strict=True)) if alone.n else {}
        gains = dict(zip(there.cases, there.gain(changed), strict=True)) if there.n else {}
        kept = [k for k in which if self.numbers[k] in gains and self.luck[k] in own]
        if 2 * len(kept) < len(which):
            raise SimError("too few cases have a result", field="cases", value=len(kept),
                           remedy="Leave an obstacle out, or use --luck-only")
        return self.points[kept], np.array([gains[self.numbers[k]] - own[self.luck[k]] for k in kept])

    def spread(self, field: Field, lines: tuple[Line, ...], base: str, changed: str,
               chosen: Sequence[int] | None = None) -> Spread:
        """What the unknowns add to the gain of a truck, from all cases or those chosen."""
        return Spread.of(self.unknowns, *self.added(field, lines, base, changed, chosen))

    def half(self) -> list[int]:
        """Every other case of each driver: enough where the word is settled and only the interval is wanted."""
        drivers = [what.driver(self.unknowns, point, self.driver) for point in self.points]
        return sorted(k for name in dict.fromkeys(drivers)
                      for k in [k for k, one in enumerate(drivers) if one == name][::2])


def drawn(
    unknowns: Sequence[Prior], driver: str, count: int = USUAL, seed: int = 0, repeats: int = FEWEST
) -> Cases:
    """Cases over the priors, each with the luck of one of the first ``repeats`` in turn."""
    return Cases(tuple(unknowns), what.draws(unknowns, count, seed), tuple(k % repeats for k in range(count)), driver)


def joint(unknowns: Sequence[Prior], driver: str, repeats: int, seed: int = 0) -> Cases:
    """Every repeat with values of its own: for many trucks, where each is to be driven only once a repeat."""
    return Cases(tuple(unknowns), what.draws(unknowns, repeats, seed), tuple(range(repeats)), driver, joint=True)
