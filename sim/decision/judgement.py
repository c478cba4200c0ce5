"""The word on a change, and what stands behind it: luck, lines, drivers, and what is not known of the truck.

The gain of a truck whose unknowns are U is ``G(U) = G(0) + D(U)``: the mean over luck with the sheet's own values, and
what other values add. The first comes from repeats; the second from cases that meet the same luck again with values
drawn from stated priors, so that luck cancels, smoothed by a fitted surface (nested sampling with common luck).
Draws of both give every probability and every regret printed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sim.decision import sides
from sim.decision.effect import Effect, PairedLimits
from sim.decision.regret import Regret
from sim.decision.unknowns import DRIVER, Prior, draws
from sim.statistics import surface
from sim.statistics.interval import Estimate
from sim.statistics.surface import Surface

Array = NDArray[np.float64]
DRAWS = 8192
NAMED = 0.2
"""Share of the variance that a surface must predict before one unknown is named (assumed)."""
UNKNOWN = "what is not known"
SURE = 0.975
"""Chance from which on one side counts as decided: both ends of a 95 % interval."""


@dataclass(frozen=True)
class Spread:
    """What the unknowns add to a gain."""

    unknowns: tuple[Prior, ...]
    points: Array
    """(cases, unknowns) in standard deviations; drivers 0 or 1."""
    added: Array
    """(cases,) gain at those values less that with the sheet's own and the same luck, points."""
    surface: Surface

    @staticmethod
    def of(unknowns: Sequence[Prior], points: Array, added: Array) -> Spread:
        """Fit the surface."""
        square = np.array([not one.choices for one in unknowns])
        return Spread(tuple(unknowns), points, added, surface.fit(points, added, square))

    def sample(self, count: int, seed: int = 0) -> tuple[Array, Array]:
        """(count, unknowns) draws of the unknowns and (count,) what they add, surface error included."""
        at = draws(self.unknowns, count, seed + 1)
        return at, self.surface.draws(at, np.random.default_rng(seed))

    def shares(self, count: int = DRAWS) -> dict[str, float]:
        """Share of each unknown in the variance that the surface explains, one at a time (first order)."""
        at = draws(self.unknowns, count, 7)
        whole = float(self.surface.at(at).var())
        found = {}
        for k, one in enumerate(self.unknowns):
            alone = np.zeros_like(at)
            alone[:, k] = at[:, k]
            found[one.name] = float(self.surface.at(alone).var()) / whole if whole > 0.0 else 0.0
        return found


@dataclass(frozen=True)
class Judgement:
    """The word and its reasons."""

    word: str
    """``worth it``, ``not worth it``, ``practically equal``, ``hangs on ...`` or ``not decided``."""
    hangs_on: tuple[str, ...]
    more: int
    """Further repeats that would probably decide it, where luck is what leaves it open."""
    effect: Effect
    both: Estimate | None
    """95 % interval of the gain with luck and unknowns; None where only luck was looked at."""
    least: float
    regret: Regret
    by_driver: dict[str, float]
    """Gain with each driver, points."""
    by_side: dict[str, Estimate]
    shares: dict[str, float]
    spread: Spread | None

    @property
    def shown(self) -> Estimate:
        """The interval that the word follows."""
        return self.both or self.effect.gain


def luck_draws(one: Effect, count: int = DRAWS, seed: int = 0) -> Array:
    """(count,) values of the mean gain that luck leaves open: Student's t, each side as wide as the interval's."""
    t = np.random.default_rng(seed + 2).standard_t(max(one.n - 1, 1), count)
    edge = float(stdtrit(max(one.n - 1, 1), 1.0 - one.level / 2.0))
    down, up = (one.gain.value - one.gain.low) / edge, (one.gain.high - one.gain.value) / edge
    return np.asarray(one.gain.value + t * np.where(t < 0.0, down, up))


def judge(
    one: Effect, least: float, spread: Spread | None = None, by_side: Mapping[str, Estimate] | None = None,
    count: int = DRAWS,
) -> Judgement:
    """Find the word.

    :param one: Gain with the sheet's own values.
    :param least: Smallest gain worth having, points.
    :param spread: What the unknowns add; left out, luck alone counts.
    :param by_side: Gain on either side of one-sided ground, from :func:`on_sides`; left out, not looked at.
    :param count: Draws behind every chance and regret.
    """
    gains = luck_draws(one, count)
    both, shares, by_driver = None, {}, {}
    if spread is not None:
        at, added = spread.sample(count)
        gains = gains + added
        # The looks taken at luck widen its own interval; the whole may not be narrower than that.
        low, high = np.quantile(gains, [1.0 - SURE, SURE])
        both = Estimate(float(gains.mean()), float(min(low, one.gain.low)), float(max(high, one.gain.high)))
        shares = spread.shares(count)
        column = next((k for k, u in enumerate(spread.unknowns) if u.name == DRIVER), None)
        if column is not None:
            for k, name in enumerate(spread.unknowns[column].choices):
                by_driver[name] = float(gains[at[:, column] == k].mean())
    found = dict(by_side or {})
    word, hangs = _word(one, both, least, shares, by_driver, found,
                        0.0 if spread is None else spread.surface.explained)
    more = one.needed(least) if word == "not decided" else 0
    return Judgement(word, hangs, more, one, both, least, Regret.of(gains, least), by_driver, found, shares, spread)


def on_sides(one: Effect, found: PairedLimits) -> dict[str, Estimate]:
    """Gain in the repeats that met one-sided ground as it is built, and in the odd ones that met it mirrored."""
    return sides.gains(found.lines, found.gain(one.truck), found.cases, one.level, found.rounding)


def plain(shown: Estimate, least: float) -> str:
    """The word of an interval alone."""
    if shown.low > least:
        return "worth it"
    if max(-shown.low, shown.high) <= least:
        return "practically equal"
    return "not worth it" if shown.high < least else "not decided"


def _word(
    one: Effect, both: Estimate | None, least: float, shares: dict[str, float], by_driver: dict[str, float],
    by_side: dict[str, Estimate], explained: float,
) -> tuple[str, tuple[str, ...]]:
    word = plain(both or one.gain, least)
    if word == "not decided":
        lucky = plain(one.gain, least)
        if both is None or lucky == "not decided":
            return word, ()
        # Where the surface predicts nothing, no single unknown may be named for what they do together.
        first = max(shares, key=lambda name: shares[name]) if explained >= NAMED else UNKNOWN
        return _hanging([*_carriers(one, least, lucky, {}, by_side), first])
    if word == "practically equal":
        return word, ()
    carries = _carriers(one, least, word, by_driver, by_side)
    return _hanging(carries) if carries else (word, ())


def _carriers(
    one: Effect, least: float, word: str, by_driver: dict[str, float], by_side: dict[str, Estimate]
) -> list[str]:
    """Lines, drivers and sides without which a gain, or a verdict against it, does not stand."""
    if word == "practically equal":
        return []
    carries = []
    for line, rest in zip(one.by_line, one.without, strict=False):
        # A gain must outlive the loss of any one line; a verdict against it falls only to a gain shown without one.
        if (rest.value <= least) if word == "worth it" else (rest.low > least):
            carries.append(line.line.name)
    carries += [f"the driver ({name})" for name, gain in by_driver.items() if (gain > least) != (word == "worth it")]
    carries += [side for side, gain in by_side.items() if (gain.high <= least if word == "worth it"
                                                          else gain.low > least)]
    return carries


def _hanging(names: Sequence[str]) -> tuple[str, tuple[str, ...]]:
    return f"hangs on {' and '.join(names)}", tuple(names)
