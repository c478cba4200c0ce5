"""Levels worth driving: where trucks neither always clear an obstacle nor never, found by a short search.

With the luck of a repeat held fast a truck clears up to a limit; the limits of a few repeats say where its success
rate falls from one to nothing. Levels are laid through that fall, so that no trial is spent where all clear or none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtri

from sim.decision.obstacle_mix import Line
from sim.decision.runner import Field

REPEATS = 5
"""Limits that the search looks for, of every truck on every obstacle."""
SHARES = (0.75, 0.5, 0.25)
"""Success rates at which levels are laid, if limits scatter normally about their mean."""


@dataclass(frozen=True)
class Chosen:
    """Levels of one obstacle."""

    line: Line
    levels: tuple[float, ...]
    """Ascending; empty where the limits lie beyond what can be built."""
    mean: float
    """Of all trucks' limits."""
    spread: float
    """Standard deviation of one truck's limits over repeats."""
    limits: tuple[tuple[float, ...], ...]
    """Of each truck in the order given, by repeat."""


def chosen_levels(field: Field, hashes: Sequence[str], lines: Sequence[Line], repeats: int = REPEATS) -> tuple[Chosen,
                                                                                                              ...]:
    """Find where the trucks fail, and choose levels between 10 and 90 % of success.

    :param field: opened for these trucks and lines (:func:`sim.decision.runner.opened`).
    :param hashes: the trucks; that which is compared with first.
    :raises Stopped: Ctrl-C.
    :raises SimError: a trial that cannot be run.
    """
    field.find(hashes, range(repeats))
    found = []
    for number, line in enumerate(lines):
        limits = []
        for truck in hashes:
            values = (field.searches.value(truck, number, repeat) for repeat in range(repeats))
            limits.append(tuple(value for value in values if value is not None))
        found.append(_chosen(line, tuple(limits)))
    return tuple(found)


def _chosen(line: Line, limits: tuple[tuple[float, ...], ...]) -> Chosen:
    some = [truck for truck in limits if truck]
    if not some:
        return Chosen(line, (), math.nan, math.nan, limits)
    means = [sum(truck) / len(truck) for truck in some]
    inside = [(value - mean) ** 2 for truck, mean in zip(some, means, strict=True) for value in truck]
    freedom = max(len(inside) - len(some), 1)
    # A search may be off by a step near the limit: a spread of less than a step is not known.
    spread = max(math.sqrt(sum(inside) / freedom), line.step)
    mean = sum(means) / len(means)
    if max(means) - min(means) > spread:
        # Each truck falls elsewhere: a level where the weakest fails, one for the strongest, one between.
        levels = on_steps(line, (min(means), mean, max(means)))
    else:
        levels = on_steps(line, [mean - float(ndtri(share)) * spread for share in SHARES])
    return Chosen(line, levels, mean, spread, limits)


def on_steps(line: Line, wanted: Sequence[float]) -> tuple[float, ...]:
    """The levels nearest to those wanted that lie on a line's steps and can be built, ascending."""
    levels = [line.step * round(level / line.step) for level in wanted]
    return tuple(sorted({float(f"{level:.6g}") for level in levels if line.low <= level <= line.high}))
