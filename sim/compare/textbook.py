"""Textbook fits of the shift between two trucks' limits, beside the adaptive curve: they assume less of its prior, and
nothing of lapses. Where the trials do not allow one it is left out."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress

import numpy as np
from scipy.stats import norm

from sim.errors import SimError
from sim.statistics.interval import Estimate
from sim.statistics.quantal import Curve, LevelCounts, common_slope, spearman_karber
from sim.statistics.threshold import Belief

LOGIT, PROBIT, KARBER = "common-slope logit", "common-slope probit", "Spearman-Karber"
_CURVES: tuple[tuple[str, Curve], ...] = ((LOGIT, "logit"), (PROBIT, "probit"))


def shifts(baseline: Belief, own: Belief) -> dict[str, Estimate]:
    """Level cleared half of the time less the baseline's, with its 95 % interval, by method."""
    first, second = _counts(baseline), _counts(own)
    found = {}
    if all(0 < int(group.clears.sum()) < int(group.tries.sum()) for group in (first, second)):
        for name, curve in _CURVES:
            with suppress(SimError, np.linalg.LinAlgError):
                fit = common_slope(first, second, curve)
                found[name] = Estimate(fit.shift, *fit.interval)
    with suppress(SimError):
        (before, doubt), (after, more) = spearman_karber(first), spearman_karber(second)
        half = float(norm.ppf(0.975)) * float(np.hypot(doubt, more))
        found[KARBER] = Estimate(after - before, after - before - half, after - before + half)
    return found


def _counts(belief: Belief) -> LevelCounts:
    tries = Counter(level for level, _ in belief.trials)
    clears = Counter(level for level, cleared in belief.trials if cleared)
    levels = sorted(tries)
    return LevelCounts(
        np.array(levels), np.array([tries[x] for x in levels], dtype=float),
        np.array([clears[x] for x in levels], dtype=float),
    )  # fmt: skip
