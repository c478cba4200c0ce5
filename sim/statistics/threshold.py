"""The level a truck clears half of the time, or nine times in ten: found adaptively, with an interval.

The chance to clear level x is ``luck + (1 - luck - lapse) / (1 + exp((x - middle) / spread))``: a logistic that may
miss one at an easy level (lapse) and may make one at a hopeless level (luck). A belief is a weight on every point of
a grid of these four numbers; each trial multiplies it by its likelihood, and the next level is the one from which
most is to be learned about middle and spread, whatever lapse and luck are.

No ready-made library was kept: those that choose levels are unmaintained or pull in a table library, and the whole
method is two array products.

Sources: Kontsevich & Tyler, Vision Res. 39 (1999) 2729-2737 (choice by expected entropy); Prins, J. Vision 13 (2013)
no. 7, 3 (lapse as a nuisance); Gelman, Meng & Stern, Stat. Sinica 6 (1996) 733-807 (predictive check). From memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, xlogy

from sim.errors import SimError
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]

MIDDLES, SPREADS = 161, 16
LAPSES, LAPSE_PRIOR = np.array([0.0, 0.02, 0.05, 0.10]), np.array([0.52, 0.28, 0.16, 0.04])
LUCKS, LUCK_PRIOR = np.array([0.0, 0.02]), np.array([0.8, 0.2])
BEYOND = 0.2
"""Share of the range by which the middle may lie outside of it."""
CANDIDATES = 25
"""Levels weighed against each other at each choice."""
NEGLIGIBLE = 1e-5
"""Points of the grid below this share of the heaviest are left out when levels are weighed."""
DOUBTFUL_FIT = 0.025
PREDICTIVE_DRAWS = 400


@dataclass(frozen=True)
class Grid:
    """Points on which a belief puts its weights: (middle, spread) by (lapse, luck)."""

    low: float
    high: float
    middle: Array
    """(MIDDLES * SPREADS,) in the level's unit."""
    spread: Array
    """(MIDDLES * SPREADS,) logistic scale in the level's unit."""
    lapse: Array
    """(nuisances,)"""
    luck: Array
    """(nuisances,)"""
    prior: Array
    """(MIDDLES * SPREADS, nuisances), sums to 1."""

    def chance(self, levels: Array, points: Any = slice(None)) -> Array:
        """Chance to clear at each level under each of the chosen points, (levels, points, nuisances)."""
        s = expit(-(np.asarray(levels)[:, None] - self.middle[points]) / self.spread[points])
        return np.asarray(self.luck + (1.0 - self.luck - self.lapse) * s[:, :, None])


@lru_cache(maxsize=64)
def grid(low: float, high: float) -> Grid:
    """Grid for levels from ``low`` (easy) to ``high`` (hard).

    Prior: middle uniform; spread log-normal about 6 % of the range; lapse and luck mostly small.
    """
    if not high > low:
        raise SimError("the hard end must be above the easy end", field="find_limit", value=(low, high))
    reach = high - low
    middles = np.linspace(low - BEYOND * reach, high + BEYOND * reach, MIDDLES)
    spreads = reach * np.geomspace(0.004, 0.4, SPREADS)
    of_spread = np.exp(-0.5 * (np.log(spreads / (0.06 * reach)) / 1.0) ** 2)
    of_nuisance = np.outer(LAPSE_PRIOR, LUCK_PRIOR).ravel()
    prior = np.repeat(np.tile(of_spread, MIDDLES)[:, None], len(of_nuisance), axis=1) * of_nuisance
    return Grid(low, high, np.repeat(middles, SPREADS), np.tile(spreads, MIDDLES), np.repeat(LAPSES, len(LUCKS)),
                np.tile(LUCKS, len(LAPSES)), prior / prior.sum())


@dataclass(frozen=True)
class Belief:
    """What is known after some trials. :meth:`after` gives the next one; nothing changes in place."""

    grid: Grid
    weight: Array
    trials: tuple[tuple[float, bool], ...] = ()

    @staticmethod
    def start(low: float, high: float) -> Belief:
        """Before the first trial."""
        points = grid(float(low), float(high))
        return Belief(points, points.prior)

    def after(self, level: float, cleared: bool) -> Belief:
        """With one more trial."""
        return self.seen(level, int(cleared), 1)

    def seen(self, level: float, cleared: int, trials: int) -> Belief:
        """With several more trials at one level, ``cleared`` of them successes."""
        chance = self.grid.chance(np.array([level]))[0]
        log = xlogy(cleared, chance) + xlogy(trials - cleared, 1.0 - chance)
        weight = self.weight * np.exp(log - log.max())
        outcomes = [True] * cleared + [False] * (trials - cleared)
        return Belief(self.grid, weight / weight.sum(), (*self.trials, *((float(level), won) for won in outcomes)))

    def chance(self, level: float) -> float:
        """Expected chance to clear a level."""
        return float(np.sum(self.weight * self.grid.chance(np.array([level]))[0]))

    def limit(self, share: float, credibility: float = 0.95) -> Estimate:
        """Level that is cleared with the given share: posterior median and central credible interval.

        Beyond the range searched nothing was measured: an end that lies there is infinite. A truck whose lapses
        alone keep it under ``share`` counts as below every level.
        """
        value, low, high = self._quantiles(self._levels_at(share), (0.5, 0.5 - credibility / 2, 0.5 + credibility / 2))
        return Estimate(value, self._inside(low), self._inside(high))

    def sample(self, share: float, count: int, rng: np.random.Generator) -> Array:
        """Draws of the level that is cleared with the given share, (count,)."""
        levels = self._levels_at(share).ravel()
        return np.asarray(levels[rng.choice(levels.size, size=count, p=self.weight.ravel())])

    def curve(self, levels: Sequence[float], credibility: float = 0.95) -> list[Estimate]:
        """Chance to clear each level with its credible interval."""
        tail = 0.5 - credibility / 2
        chances = self.grid.chance(np.asarray(levels, dtype=float))
        return [Estimate(*self._quantiles(c, (0.5, tail, 1 - tail))) for c in chances]

    def fit(self) -> float:
        """Posterior predictive p of the deviance: small when the trials do not look like any such curve.

        The levels are taken as they were chosen. Random numbers are seeded: same trials, same p.
        """
        if not self.trials:
            return 1.0
        total = Counter(level for level, _ in self.trials)
        won = Counter(level for level, cleared in self.trials if cleared)
        levels = np.array(sorted(total))
        n = np.array([total[level] for level in levels])
        k = np.array([won[level] for level in levels])
        rng = np.random.default_rng(0)
        drawn = rng.choice(self.weight.size, size=PREDICTIVE_DRAWS, p=self.weight.ravel())
        point, nuisance = np.divmod(drawn, self.weight.shape[1])
        s = expit(-(levels[:, None] - self.grid.middle[point]) / self.grid.spread[point])
        luck, lapse = self.grid.luck[nuisance], self.grid.lapse[nuisance]
        p = np.clip(luck + (1 - luck - lapse) * s, 1e-9, 1 - 1e-9)
        again = rng.binomial(n[:, None], p)
        return float(np.mean(_deviance(again, n[:, None], p) >= _deviance(k[:, None], n[:, None], p)))

    @property
    def doubtful(self) -> bool:
        """Whether the curve does not fit what was seen."""
        return self.fit() < DOUBTFUL_FIT

    def _levels_at(self, share: float) -> Array:
        g = self.grid
        with np.errstate(divide="ignore", invalid="ignore"):
            s = (share - g.luck) / (1.0 - g.luck - g.lapse)
            steps = np.where(s >= 1.0, np.inf, np.where(s <= 0.0, -np.inf, logit(np.clip(s, 0.0, 1.0))))
        return np.asarray(g.middle[:, None] - g.spread[:, None] * steps)

    def _quantiles(self, values: Array, shares: Sequence[float]) -> tuple[float, ...]:
        live = self.weight > 1e-12 * self.weight.max()
        order = np.argsort(values[live])
        ranked = values[live][order]
        below = np.cumsum(self.weight[live][order])
        return tuple(float(ranked[min(int(np.searchsorted(below, s)), len(below) - 1)]) for s in shares)

    def _inside(self, level: float) -> float:
        if level < self.grid.low:
            return float("-inf")
        return float("inf") if level > self.grid.high else level


def choose(belief: Belief, levels: Sequence[float], count: int = 1) -> list[float]:
    """Levels of the next ``count`` trials, to be run at the same time.

    The first is the one with the least expected entropy about middle and spread. Each further one is chosen as if
    the trials before it had gone the likelier way (the "believer" heuristic of parallel design).

    :param belief: What is known.
    :param levels: Levels that may be tried, ascending, at least one.
    :param count: How many.
    """
    chosen = []
    for _ in range(count):
        level = _best(belief, np.asarray(levels, dtype=float))
        chosen.append(level)
        belief = belief.after(level, belief.chance(level) >= 0.5)
    return chosen


def _best(belief: Belief, levels: Array) -> float:
    candidates = _worth_weighing(belief, levels)
    marginal = belief.weight.sum(axis=1)
    live = np.flatnonzero(marginal > NEGLIGIBLE * marginal.max())
    cleared = np.einsum("lpn,pn->lp", belief.grid.chance(candidates, live), belief.weight[live])
    failed = marginal[live] - cleared
    entropy = _entropy(cleared) + _entropy(np.maximum(failed, 0.0))
    return float(candidates[int(np.argmin(entropy))])


def _worth_weighing(belief: Belief, levels: Array) -> Array:
    """At most CANDIDATES levels, spread over where the chance is neither sure nor hopeless."""
    if len(levels) > CANDIDATES:
        low, high = belief._quantiles(belief._levels_at(0.97), (0.1,))[0], belief._quantiles(
            belief._levels_at(0.05), (0.9,)
        )[0]
        inside = levels[(levels >= low) & (levels <= high)]
        if len(inside) >= 3:
            levels = inside
    if len(levels) > CANDIDATES:
        levels = levels[np.unique(np.linspace(0, len(levels) - 1, CANDIDATES).round().astype(int))]
    return levels


def _entropy(parts: Array) -> Array:
    """Expected entropy up to a constant: -sum q log(q / total) for each row of unnormalised weights."""
    total = parts.sum(axis=1)
    return np.asarray(xlogy(total, total) - xlogy(parts, parts).sum(axis=1))


def _deviance(k: NDArray[np.int64], n: NDArray[np.int64], p: Array) -> Array:
    expected = n * p
    return np.asarray(2.0 * np.sum(xlogy(k, k / expected) + xlogy(n - k, (n - k) / (n - expected)), axis=0))
