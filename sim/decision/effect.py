"""What trucks do against the base truck on every line and on the whole mix, from paired limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from sim.decision.obstacle_mix import Line
from sim.statistics import group_sequential
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
Word = Literal["worth it", "not worth it", "not shown"]
LEAST_WORTH = 1.0
"""Percent of the limits (points at stated levels) below which a gain is not worth a drill or money (assumed)."""


class Limits(Protocol):
    """Whoever knows limits: :class:`sim.decision.limit_search.Searches`, or made-up trucks in a test."""

    def value(self, truck: str, line: int, repeat: int) -> float | None:
        """Limit of a truck on a line in a repeat; None if there is none."""


@dataclass(frozen=True)
class Table:
    """Limits of some trucks in the repeats in which all of them have all of theirs."""

    lines: tuple[Line, ...]
    trucks: tuple[str, ...]
    """The base truck first."""
    limit: Array
    """(trucks, lines, n) in each line's unit; 1 or 0 at a stated level."""

    @property
    def n(self) -> int:
        """Repeats."""
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

    def difference(self, truck: str, line: int) -> Array:
        """(n,) limit less that of the base truck."""
        return np.asarray(self.limit[self.trucks.index(truck), line] - self.limit[0, line])

    def line_effect(self, truck: str, line: int, level: float) -> Estimate:
        """Difference on one line with its interval at a two-sided level, in the line's unit (a share if stated).

        Limits are compared by the logarithm of their ratio, as in the score, and put back on the base's mean limit.
        """
        this = self.lines[line]
        if this.level is not None:
            grain = group_sequential.rounding([1.0], [1.0])
            return group_sequential.interval(self.difference(truck, line), level, grain)
        least, base = 0.5 * this.step, float(self.limit[0, line].mean())
        ratio = np.log(np.maximum(self.limit[self.trucks.index(truck), line], least))
        ratio -= np.log(np.maximum(self.limit[0, line], least))
        scale = max(base, this.step)
        raw = group_sequential.interval(ratio, level, group_sequential.rounding([this.step], [1.0 / scale]))
        return Estimate(*(scale * math.expm1(min(x, 700.0)) for x in (raw.value, raw.low, raw.high)))

    def score(self, truck: str) -> Array:
        """(n,) weighted mean of the changes on all lines.

        Of limits, 100 times the logarithm of their ratio, so that twice and half weigh alike and one lucky repeat
        does not carry the mean; at stated levels, points of success.
        """
        own, base = self.limit[self.trucks.index(truck)], self.limit[0]
        if self.stated:
            return np.asarray(100.0 * self.weights @ (own - base))
        least = 0.5 * np.array([[line.step] for line in self.lines])
        return np.asarray(100.0 * self.weights @ np.log(np.maximum(own, least) / np.maximum(base, least)))

    @property
    def score_rounding(self) -> float:
        """Standard deviation of a score from the steps between levels alone."""
        scale = np.ones(len(self.lines)) if self.stated else np.maximum(self.limit[0].mean(axis=1), 1e-9)
        steps = [line.step for line in self.lines]
        return group_sequential.rounding(steps, (100.0 * self.weights / np.maximum(scale, steps)).tolist())

    def in_percent(self, score: Estimate) -> Estimate:
        """A mean score as the percent by which limits change (geometric mean over lines and repeats), or points."""
        if self.stated:
            return score
        return Estimate(*(100.0 * math.expm1(min(x, 700.0) / 100.0) for x in (score.value, score.low, score.high)))

    def mean(self, truck: str, line: int, confidence: float = 0.95) -> Estimate:
        """Mean limit with its t interval."""
        own = self.limit[self.trucks.index(truck), line]
        return group_sequential.interval(own, 1.0 - confidence, self.lines[line].step / math.sqrt(12.0))


def table(limits: Limits, lines: tuple[Line, ...], trucks: Sequence[str], repeats: int) -> Table:
    """Collect what is known in the first ``repeats`` repeats."""
    trucks = tuple(dict.fromkeys(trucks))
    columns = []
    for repeat in range(repeats):
        column = [[limits.value(truck, line, repeat) for line in range(len(lines))] for truck in trucks]
        if all(value is not None for row in column for value in row):
            columns.append(column)
    data = np.array(columns, dtype=float).reshape(len(columns), len(trucks), len(lines))
    return Table(lines, trucks, np.moveaxis(data, 0, 2))


@dataclass(frozen=True)
class LineEffect:
    """One line: both limits, and the paired difference."""

    line: Line
    base: Estimate
    changed: Estimate
    difference: Estimate
    """All lines together hold with the stated confidence."""

    @property
    def shown(self) -> int:
        """1 for a gain, -1 for a loss, 0 where none is shown."""
        return int(self.difference.low > 0.0) - int(self.difference.high < 0.0)


@dataclass(frozen=True)
class Effect:
    """What one truck does against the base truck."""

    truck: str
    score: Estimate
    """Percent by which the limits change over the mix, or points of success at stated levels."""
    by_line: tuple[LineEffect, ...]
    n: int
    word: Word
    more: int
    """Further repeats that would probably decide it; 0 once decided."""
    p: float
    """Of the score, for one look."""


def effect(found: Table, truck: str, level: float, least: float = LEAST_WORTH) -> Effect:
    """Judge one truck.

    :param found: Limits.
    :param truck: Its hash.
    :param level: Two-sided level of each look and question, from :func:`sim.statistics.group_sequential.level`.
    :param least: Gain below which it is not worth it.
    """
    sample = found.score(truck)
    raw = group_sequential.interval(sample, level, found.score_rounding)
    score = found.in_percent(raw)
    per_line = level / len(found.lines)
    by_line = []
    for index, line in enumerate(found.lines):
        by_line.append(LineEffect(line, found.mean(found.trucks[0], index), found.mean(truck, index),
                                  found.line_effect(truck, index, per_line)))
    word = judge(score, least)
    more = 0
    if word == "not shown":
        spread = max(float(sample.std(ddof=1)) if len(sample) > 1 else 0.0, found.score_rounding)
        more = max(1, group_sequential.needed(max(abs(raw.value), least), spread, level) - found.n)
    return Effect(truck, score, tuple(by_line), found.n, word, more,
                  group_sequential.p_value(sample, found.score_rounding))


def judge(score: Estimate, least: float = LEAST_WORTH) -> Word:
    """The word follows the interval: a gain shown, a gain worth having ruled out, or neither."""
    if score.low > 0.0 and score.high >= least:
        return "worth it"
    if score.high < least:
        return "not worth it"
    return "not shown"
