"""Intervals for a share and for a quantile, from counts and samples alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, ndtri

from sim.errors import SimError


@dataclass(frozen=True)
class Estimate:
    """A value with its interval; NaN where the data say nothing."""

    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half of the interval's length, in the value's unit."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True)
class Rate:
    """Successes among trials and the interval of the success rate."""

    successes: int
    trials: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Observed success rate, NaN without trials."""
        return self.successes / self.trials if self.trials else float("nan")


def wilson(successes: int, trials: int, confidence: float = 0.95) -> Rate:
    """Score interval of a success rate.

    :param successes: Trials that succeeded, 0 to ``trials``.
    :param trials: Number of trials; with none the interval is (0, 1).
    :param confidence: Two-sided level.
    :raises SimError: Counts that cannot be.

    Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212; method 3 of Newcombe, Stat. Med. 17 (1998) 857-872.
    """
    if not 0 <= successes <= trials:
        raise SimError("successes must lie between 0 and the trials", field="successes", value=(successes, trials))
    if trials == 0:
        return Rate(0, 0, 0.0, 1.0)
    z2 = normal_quantile(confidence) ** 2
    share = successes / trials
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = np.sqrt(z2 * (share * (1 - share) / trials + z2 / (4 * trials**2))) / (1 + z2 / trials)
    # At the ends one limit is the end itself; rounding must not say otherwise.
    low = 0.0 if successes == 0 else float(middle - half)
    high = 1.0 if successes == trials else float(middle + half)
    return Rate(successes, trials, low, high)


def quantile(sample: ArrayLike, q: float, confidence: float = 0.95) -> Estimate:
    """Sample quantile with a distribution-free interval from order statistics.

    The interval runs from one order statistic to another, chosen as close as the binomial law allows with at
    least half of the error on either side. Where the sample is too small for a limit, that limit is infinite.

    :param sample: (n,) values in any unit; NaN not allowed.
    :param q: 0.5 for the median, 0.05 for the fifth percentile.
    :param confidence: Two-sided level, kept or exceeded whatever the distribution.

    Source: David & Nagaraja, Order Statistics (3rd ed., 2003), section 7.1.
    """
    x = np.sort(np.asarray(sample, dtype=float))
    n = len(x)
    if n == 0:
        return Estimate(float("nan"), float("-inf"), float("inf"))
    tail = 0.5 * (1 - confidence)
    # P(X_(r) > quantile) = P(at most r - 1 of n below it)
    below: NDArray[np.float64] = bdtr(np.arange(n), n, q)
    lower_rank = int(np.searchsorted(below, tail, side="right"))
    upper_rank = int(np.searchsorted(below, 1 - tail, side="left")) + 1
    low = float(x[lower_rank - 1]) if lower_rank >= 1 else float("-inf")
    high = float(x[upper_rank - 1]) if upper_rank <= n else float("inf")
    return Estimate(float(np.quantile(x, q)), low, high)


def paired_median(changed: Sequence[float], baseline: Sequence[float], confidence: float = 0.95) -> Estimate:
    """Median of the differences ``changed - baseline`` over pairs that met the same draw.

    Source: sign-test interval, Conover, Practical Nonparametric Statistics (3rd ed., 1999), section 3.2.
    """
    difference = np.asarray(changed, dtype=float) - np.asarray(baseline, dtype=float)
    return quantile(difference, 0.5, confidence)


def normal_quantile(confidence: float) -> float:
    """Two-sided standard normal quantile: 1.96 for 0.95."""
    if not 0 < confidence < 1:
        raise SimError("confidence must lie between 0 and 1", field="confidence", value=confidence)
    return float(ndtri(0.5 + 0.5 * confidence))
