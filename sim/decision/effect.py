"""What trucks do against the base truck, in one currency: points of the chance to clear, from paired limits.

With luck held fast a truck clears the levels below its limit. Averaged over repeats and over a stated range of levels
the change of that chance is the area between the two success curves. Millimetres and degrees never meet: the shift of
the limit stands beside it, line by line, in its own unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.decision.obstacle_mix import Line
from sim.errors import SimError
from sim.statistics import group_sequential
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
LEAST_WORTH = 1.0
"""Points below which a gain is not worth a drill or money (assumed)."""
FEWEST = 12
"""Repeats under which no number is told."""


class Limits(Protocol):
    """Whoever knows limits: :class:`sim.decision.limit_search.Searches`, or made-up trucks in a test."""

    def value(self, truck: str, line: int, case: int) -> float | None:
        """Limit of a truck on a line in a case; None if there is none."""


@dataclass(frozen=True)
class Reached:
    """Limits of one truck on one line over the repeats, in the line's unit: what they were, no interval.

    One repeat in twelve may lie far off, and a dozen may hold none of that kind. A shift has zero to lean towards
    then, a limit has nothing: no interval of a dozen held such a mean often enough (85 to 92 %, Student's and Hall's).
    """

    value: float
    """Mean."""
    least: float
    most: float


@dataclass(frozen=True)
class PairedLimits:
    """Limits of some trucks in the cases in which all of them have all of theirs."""

    lines: tuple[Line, ...]
    trucks: tuple[str, ...]
    """The base truck first."""
    limit: Array
    """(trucks, lines, n) in each line's unit; 1 or 0 at a stated level."""
    cases: tuple[int, ...] = ()
    """(n,) numbers of the cases."""

    @property
    def n(self) -> int:
        """Cases."""
        return int(self.limit.shape[2])

    @property
    def stated(self) -> bool:
        """Whether the lines are driven at stated levels rather than up to their limits."""
        return any(line.level is not None for line in self.lines)

    @property
    def weights(self) -> Array:
        """(lines,) shares of the mix, sum 1."""
        weights = np.array([line.weight for line in self.lines])
        return np.asarray(weights / weights.sum())

    def shift(self, truck: str, line: int) -> Array:
        """(n,) limit less that of the base truck, in the line's unit."""
        return np.asarray(self.limit[self.trucks.index(truck), line] - self.limit[0, line])

    def points(self, truck: str) -> Array:
        """(lines, n) change of the chance to clear, in points."""
        own = self.trucks.index(truck)
        return np.array([line.points(self.limit[own, k]) - line.points(self.limit[0, k])
                         for k, line in enumerate(self.lines)])

    def gain(self, truck: str) -> Array:
        """(n,) change of the chance to clear over the mix, in points."""
        return np.asarray(self.weights @ self.points(truck))

    @property
    def rounding(self) -> float:
        """Standard deviation of a gain from the steps between levels alone."""
        return group_sequential.rounding([_grain(line) for line in self.lines], self.weights.tolist())

    def reached(self, truck: str, line: int) -> Reached:
        """What a truck reached on a line."""
        own = self.limit[self.trucks.index(truck), line]
        return Reached(float(own.mean()), float(own.min()), float(own.max()))


def _grain(line: Line) -> float:
    """Points between two levels that are tried."""
    return 100.0 if line.level is not None else 100.0 * line.step / (line.span[1] - line.span[0])


def paired(limits: Limits, lines: tuple[Line, ...], trucks: Sequence[str], cases: Sequence[int]) -> PairedLimits:
    """Collect what is known in these cases."""
    trucks = tuple(dict.fromkeys(trucks))
    columns, kept = [], []
    for case in cases:
        column = [[limits.value(truck, line, case) for line in range(len(lines))] for truck in trucks]
        if all(value is not None for row in column for value in row):
            columns.append(column)
            kept.append(case)
    data = np.array(columns, dtype=float).reshape(len(columns), len(trucks), len(lines))
    return PairedLimits(lines, trucks, np.moveaxis(data, 0, 2), tuple(kept))


def enough(found: PairedLimits) -> PairedLimits:
    """The same, if a number may be told from it.

    :raises SimError: Too few cases have a result for every truck.
    """
    if found.n < FEWEST:
        raise SimError(f"only {found.n} repeats have a result for every truck; no number is told from fewer than "
                       f"{FEWEST}", field="repeats", value=found.n, remedy="Give more repeats or leave an obstacle out")
    return found


@dataclass(frozen=True)
class LineEffect:
    """One line: both limits, their shift in the line's unit, and what it brings to the mix."""

    line: Line
    base: Reached
    changed: Reached
    shift: Estimate
    """In the line's unit (a share at a stated level); all lines together hold with the stated confidence."""
    share: float
    """Weight in the mix, sum 1."""
    contribution: Estimate
    """Points of the mix: weight times change of the chance to clear; all lines together likewise."""

    @property
    def shown(self) -> int:
        """1 for a gain, -1 for a loss, 0 where none is shown."""
        return int(self.shift.low > 0.0) - int(self.shift.high < 0.0)


@dataclass(frozen=True)
class Effect:
    """What one truck does against the base truck, luck alone left open."""

    truck: str
    gain: Estimate
    """Points over the mix."""
    by_line: tuple[LineEffect, ...]
    without: tuple[Estimate, ...]
    """Points over the mix with one line left out, in the order of the lines; none where there is one line."""
    n: int
    spread: float
    """Standard deviation of the gain between repeats."""
    level: float
    """Two-sided, of each look and question."""

    def needed(self, least: float) -> int:
        """Further repeats that would probably tell the gain from ``least``."""
        aim = max(abs(self.gain.value - least), 0.5 * least, 1e-3)
        return max(1, group_sequential.needed(aim, self.spread, self.level, most=10_000) - self.n)


def effect(found: PairedLimits, truck: str, level: float) -> Effect:
    """Measure one truck.

    :param found: Limits.
    :param truck: Its hash.
    :param level: Two-sided level of each look and question, from :func:`sim.statistics.group_sequential.level`.
    """
    points, weights, count = found.points(truck), found.weights, len(found.lines)
    by_line, without = [], []
    for k, line in enumerate(found.lines):
        grain = group_sequential.rounding([1.0 if line.level is not None else line.step], [1.0])
        shift = group_sequential.wary(found.shift(truck, k), level / count, grain)
        brings = group_sequential.wary(weights[k] * points[k], level / count,
                                           group_sequential.rounding([_grain(line)], [float(weights[k])]))
        by_line.append(LineEffect(line, found.reached(found.trucks[0], k), found.reached(truck, k), shift,
                                  float(weights[k]), brings))
        if count > 1:
            rest = np.delete(np.arange(count), k)
            left = weights[rest] / weights[rest].sum()
            without.append(group_sequential.wary(left @ points[rest], level, found.rounding))
    sample = found.gain(truck)
    spread = max(float(sample.std(ddof=1)) if len(sample) > 1 else 0.0, found.rounding)
    gain = group_sequential.wary(sample, level, found.rounding)
    return Effect(truck, gain, tuple(by_line), tuple(without), found.n, spread, level)
