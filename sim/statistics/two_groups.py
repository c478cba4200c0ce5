"""Whether trials at several levels come from one limit with scatter, or from two groups that give up apart.

A truck that either hangs up on an edge or gets over it has no one limit: its success curve has a step, a flat part and
another step, and a single smooth curve through it promises what no trial keeps. The best single logistic curve is held
against the best mixture of two; how large a gain in likelihood luck alone would give comes from trials made up from
the single curve at the very levels driven.

The level that half of all trials clear may lie anywhere on the flat part, and a group's own limit anywhere between two
levels that were driven: its interval is of the posterior over all mixtures. One from mixtures fitted to made-up trials
held the truth in 71 to 84 % of simulated ladders (:mod:`sim.validation.coverage` has that of today).

Source: McLachlan, Appl. Stat. 36 (1987) 318-324 (parametric bootstrap of the number of groups); ter Braak, Stat.
Comput. 16 (2006) 239-249 (chains that take their steps from one another). From memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
MIDDLES, SINGLE_MIDDLES = 31, 91
SPREADS = (0.005, 0.015, 0.04)
SINGLE_SPREADS = tuple(float(s) for s in np.geomspace(0.005, 0.5, 20))
"""Logistic scales over the range, of the groups and of a single limit, which must fit at least as finely."""
LAPSES = (0.0, 0.02, 0.05)
WEIGHTS = (0.15, 0.25, 0.35, 0.5, 0.65, 0.75, 0.85)
APART = 0.12
"""Least distance of two groups over the range."""
SAMPLES = 200
FEWEST = 20
"""Trials under which one does not ask."""
SHOWN = 0.02
CHAINS, STEPS = 400, 150
"""Of the posterior of a mixture; the first third of the steps is forgotten."""
SHARES, SCALES = (0.05, 0.95), (0.004, 0.06)
"""Of the early group, and logistic scales over the range, that the posterior allows for."""


@dataclass(frozen=True)
class TwoGroups:
    """What the trials say about groups."""

    p: float
    """Chance that trials of one limit alone look so much like two groups."""
    share: float
    """Of the trials that give up early."""
    early: float
    """Level at which half of them have given up."""
    late: float
    half: Estimate
    """Level that half of all trials clear, with its 95 % credible interval under the mixture."""
    residuals: tuple[tuple[float, float], ...]
    """Level, and how many standard deviations its successes lie from the best single curve."""

    @property
    def shown(self) -> bool:
        """Whether there are two groups."""
        return self.p <= SHOWN


@lru_cache(maxsize=16)
def _curves(levels: tuple[float, ...], low: float, high: float) -> tuple[Array, Array, Array]:
    """(curves, levels) chances of single limits and of mixtures, and the mixtures' (share, early, late, scale)."""
    x, reach = np.array(levels), high - low
    middles = np.linspace(low, high, MIDDLES)
    single = np.array([(1.0 - lapse) * expit((m - x) / (s * reach))
                       for m in np.linspace(low - 0.2 * reach, high + 0.2 * reach, SINGLE_MIDDLES)
                       for s in SINGLE_SPREADS for lapse in LAPSES])
    mixed, facts = [], []
    for a, b in combinations(middles, 2):
        if b - a < APART * reach:
            continue
        for s in SPREADS:
            early, late = expit((a - x) / (s * reach)), expit((b - x) / (s * reach))
            for w in WEIGHTS:
                mixed.append(w * early + (1.0 - w) * late)
                facts.append((w, a, b, s))
    return np.clip(single, 1e-4, 1.0 - 1e-4), np.clip(np.array(mixed), 1e-4, 1.0 - 1e-4), np.array(facts)


def two_groups(levels: Sequence[float], trials: Sequence[int], cleared: Sequence[int]) -> TwoGroups | None:
    """Ask whether there are two groups; None from too few trials or levels.

    :param levels: Ascending, each once.
    :param trials: At each level.
    :param cleared: Of these. Random numbers are seeded: same trials, same answer.
    """
    n, k = np.asarray(trials, dtype=float), np.asarray(cleared, dtype=float)
    if len(n) < 4 or n.sum() < FEWEST or k.sum() in (0.0, n.sum()):
        return None
    single, mixed, facts = _curves(tuple(float(x) for x in levels), float(min(levels)), float(max(levels)))
    rng = np.random.default_rng(0)
    one = int(np.argmax(_likelihood(single, n, k[:, None])[:, 0]))
    likely = _likelihood(mixed, n, k[:, None])[:, 0]
    seen = _gain(single, mixed, n, k[:, None])[0]
    made = rng.binomial(n.astype(int), single[one], size=(SAMPLES, len(n))).T.astype(float)
    p = (1.0 + float(np.sum(_gain(single, mixed, n, made) >= seen))) / (SAMPLES + 1.0)
    share, early, late, _ = (float(v) for v in facts[int(np.argmax(likely))])
    x = np.asarray(levels, dtype=float)
    low, half, high = np.quantile(_halves(_drawn(x, n, k, facts, likely, rng), x), [0.025, 0.5, 0.975])
    deviation = (k - n * single[one]) / np.sqrt(n * single[one] * (1.0 - single[one]))
    return TwoGroups(p, share, early, late, Estimate(float(half), float(low), float(high)),
                     tuple(zip((float(x) for x in levels), deviation.tolist(), strict=True)))


def _drawn(x: Array, n: Array, k: Array, facts: Array, likely: Array, rng: np.random.Generator) -> Array:
    """(draws, 4) mixtures of the posterior: share, early and late over the range of levels, logarithm of the scale.

    Flat priors; begun at the mixtures that were tried, by their likelihood.
    """
    reach = x[-1] - x[0]
    weight = np.exp(likely - likely.max())
    begun = facts[rng.choice(len(facts), CHAINS, p=weight / weight.sum())]
    at = np.column_stack([begun[:, 0], (begun[:, 1:3] - x[0]) / reach, np.log(begun[:, 3])])
    at += rng.normal(0.0, 0.01, at.shape)
    least = np.array([SHARES[0], 0.0, 0.0, np.log(SCALES[0])])
    most = np.array([SHARES[1], 1.0, 1.0, np.log(SCALES[1])])
    at = np.clip(at, least, most)
    levels = (x - x[0]) / reach

    def height(there: Array) -> Array:
        inside = np.all((there >= least) & (there <= most), axis=1) & (there[:, 2] - there[:, 1] >= APART)
        curves = np.clip(_mixture(there, levels), 1e-4, 1.0 - 1e-4)
        return np.where(inside, _likelihood(curves, n, k[:, None])[:, 0], -np.inf)

    now, kept = height(at), []
    for step in range(STEPS):
        one, other = (rng.permutation(CHAINS) for _ in range(2))
        # Now and then a whole stride, which leads from one group of mixtures to another.
        stride = 1.0 if step % 10 == 9 else 2.38 / np.sqrt(8.0)
        there = at + stride * (at[one] - at[other]) + rng.normal(0.0, 1e-4, at.shape)
        then = height(there)
        taken = np.log(rng.random(CHAINS)) + now < then
        at, now = np.where(taken[:, None], there, at), np.where(taken, then, now)
        if 3 * step >= STEPS and step % 5 == 0:
            kept.append(at)
    return np.vstack(kept)


def _mixture(drawn: Array, levels: Array) -> Array:
    """(draws, levels) chances at the same levels for all, or (draws, 1) each at its own; levels over the range."""
    share, early, late, scale = (column[:, None] for column in drawn.T)
    scale = np.exp(scale)
    return np.asarray(share * expit((early - levels) / scale) + (1.0 - share) * expit((late - levels) / scale))


def _halves(drawn: Array, x: Array) -> Array:
    """(draws,) level that half of all trials clear, by halving, within what was driven."""
    low, high = np.zeros(len(drawn)), np.ones(len(drawn))
    for _ in range(20):
        middle = 0.5 * (low + high)
        clears = _mixture(drawn, middle[:, None])[:, 0] > 0.5
        low, high = np.where(clears, middle, low), np.where(clears, high, middle)
    return np.asarray(x[0] + (x[-1] - x[0]) * 0.5 * (low + high))


def _gain(single: Array, mixed: Array, n: Array, k: Array) -> Array:
    return np.asarray(_likelihood(mixed, n, k).max(axis=0) - _likelihood(single, n, k).max(axis=0))


def _likelihood(curves: Array, n: Array, k: Array) -> Array:
    """(curves, samples) log-likelihood up to a constant; ``k`` is (levels, samples)."""
    return np.asarray(np.log(curves) @ k + np.log1p(-curves) @ (n[:, None] - k))
