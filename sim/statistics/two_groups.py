"""Whether trials at several levels come from one limit with scatter, or from two groups that give up apart.

A truck that either hangs up on an edge or gets over it has no one limit: its success curve has a step, a flat part and
another step, and a single smooth curve through it promises what no trial keeps. The best single logistic curve is held
against the best mixture of two; how large a gain in likelihood luck alone would give comes from trials made up from
the single curve at the very levels driven.

Source: McLachlan, Appl. Stat. 36 (1987) 318-324 (parametric bootstrap of the number of groups); Efron & Tibshirani, An
Introduction to the Bootstrap (1993), ch. 6. From memory.
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
    """Level that half of all trials clear, with a bootstrap interval under the mixture."""
    residuals: tuple[tuple[float, float], ...]
    """Level, and how many standard deviations its successes lie from the best single curve."""

    @property
    def shown(self) -> bool:
        """Whether there are two groups."""
        return self.p <= SHOWN


@lru_cache(maxsize=16)
def _curves(levels: tuple[float, ...], low: float, high: float) -> tuple[Array, Array, Array]:
    """(curves, levels) chances of single limits and of mixtures, and the mixtures' (share, early, late, half)."""
    x, reach = np.array(levels), high - low
    middles = np.linspace(low, high, MIDDLES)
    single = np.array([(1.0 - lapse) * expit((m - x) / (s * reach))
                       for m in np.linspace(low - 0.2 * reach, high + 0.2 * reach, SINGLE_MIDDLES)
                       for s in SINGLE_SPREADS for lapse in LAPSES])
    fine = np.linspace(low, high, 201)
    mixed, facts = [], []
    for a, b in combinations(middles, 2):
        if b - a < APART * reach:
            continue
        for s in SPREADS:
            early, late = expit((a - x) / (s * reach)), expit((b - x) / (s * reach))
            early_fine, late_fine = expit((a - fine) / (s * reach)), expit((b - fine) / (s * reach))
            for w in WEIGHTS:
                mixed.append(w * early + (1.0 - w) * late)
                whole = w * early_fine + (1.0 - w) * late_fine
                facts.append((w, a, b, fine[int(np.argmin(np.abs(whole - 0.5)))]))
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
    two = int(np.argmax(_likelihood(mixed, n, k[:, None])[:, 0]))
    seen = _gain(single, mixed, n, k[:, None])[0]
    made = rng.binomial(n.astype(int), single[one], size=(SAMPLES, len(n))).T.astype(float)
    p = (1.0 + float(np.sum(_gain(single, mixed, n, made) >= seen))) / (SAMPLES + 1.0)
    again = rng.binomial(n.astype(int), mixed[two], size=(SAMPLES, len(n))).T.astype(float)
    halves = facts[np.argmax(_likelihood(mixed, n, again), axis=0), 3]
    share, early, late, half = (float(v) for v in facts[two])
    low, high = np.quantile(halves, [0.025, 0.975])
    deviation = (k - n * single[one]) / np.sqrt(n * single[one] * (1.0 - single[one]))
    return TwoGroups(p, share, early, late, Estimate(half, float(min(low, half)), float(max(high, half))),
                     tuple(zip((float(x) for x in levels), deviation.tolist(), strict=True)))


def _gain(single: Array, mixed: Array, n: Array, k: Array) -> Array:
    return np.asarray(_likelihood(mixed, n, k).max(axis=0) - _likelihood(single, n, k).max(axis=0))


def _likelihood(curves: Array, n: Array, k: Array) -> Array:
    """(curves, samples) log-likelihood up to a constant; ``k`` is (levels, samples)."""
    return np.asarray(np.log(curves) @ k + np.log1p(-curves) @ (n[:, None] - k))
