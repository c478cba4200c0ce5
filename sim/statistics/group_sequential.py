"""Looking several times at growing paired samples without more false alarms than stated.

At every look the mean difference is tested with Student's t at one and the same smaller level, chosen so that the
chance of ever calling a difference between trucks that are alike is the stated error (Pocock's plan). The level comes
from simulated null samples with the very sizes and t-tests in use, so that small samples are right too. The intervals
are the repeated confidence intervals that belong to it: all looks together cover the truth with the stated confidence.

Sources: Pocock, Biometrika 64 (1977) 191-199; Jennison & Turnbull, Group Sequential Methods (2000), ch. 2 and 9.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit
from scipy.stats import nct

from sim.statistics import rare_group
from sim.statistics.interval import Estimate

LOOKS = (12, 18, 27, 40, 60, 90, 135, 200)
"""Repeats after which one looks."""
ERROR = 0.05
_NULL_SAMPLES = 200_000


def looks(most: int, first: int = LOOKS[0]) -> tuple[int, ...]:
    """Sizes at which to look when there are at most ``most`` repeats."""
    return tuple(sorted({*(n for n in LOOKS if first <= n < most), most}))


@lru_cache(maxsize=64)
def level(sizes: tuple[int, ...], questions: int = 1, error: float = ERROR) -> float:
    """Two-sided level of the t-test at each look.

    :param sizes: Ascending sample sizes at the looks, each at least 2.
    :param questions: Comparisons answered at once; the error is shared by Šidák's rule, which holds for any dependence
        of t-tests on common samples (Šidák, J. Am. Stat. Assoc. 62 (1967) 626-633).
    :param error: Chance of any false call in all looks at all questions.
    """
    share = 1.0 - (1.0 - error) ** (1.0 / questions)
    if len(sizes) == 1:
        return share
    rng = np.random.default_rng(20)
    total, squares, before = np.zeros(_NULL_SAMPLES), np.zeros(_NULL_SAMPLES), 0
    least = np.ones(_NULL_SAMPLES)
    for n in sizes:
        new = n - before
        mean = rng.standard_normal(_NULL_SAMPLES) / math.sqrt(new)
        within = rng.chisquare(new - 1, _NULL_SAMPLES) if new > 1 else 0.0
        total += new * mean
        squares += within + new * mean**2
        variance = (squares - total**2 / n) / (n - 1)
        t = total / np.sqrt(n * variance)
        least = np.minimum(least, 2.0 * stdtr(n - 1, -np.abs(t)))
        before = n
    return float(np.quantile(least, share))


def interval(sample: ArrayLike, two_sided: float, floor: float = 0.0) -> Estimate:
    """Mean of a sample with its t interval.

    :param sample: (n,) paired differences, any unit.
    :param two_sided: Level of the test it belongs to, from :func:`level`.
    :param floor: Least standard deviation to believe in: the rounding of what was measured.
    """
    x = np.asarray(sample, dtype=float)
    n = len(x)
    if n < 2:
        return Estimate(float(x.mean()) if n else math.nan, -math.inf, math.inf)
    spread = max(float(x.std(ddof=1)), floor)
    half = float(stdtrit(n - 1, 1.0 - two_sided / 2.0)) * spread / math.sqrt(n)
    return Estimate(float(x.mean()), float(x.mean()) - half, float(x.mean()) + half)


def wary(sample: ArrayLike, two_sided: float, floor: float = 0.0) -> Estimate:
    """Mean of a skewed sample, with an interval that allows for groups, and for the repeat that was not met.

    Gains are skewed and fall into groups: a change helps in eleven repeats and not at all in the twelfth. Student's
    interval of a dozen covers 87 % then. Where the sample shows two groups apart, the interval follows from the rarer
    one's share; zero is left out only if Student's leaves it out too. Else Hall's cubic transformation allows for the
    skew that is seen, and the end towards zero for a share of repeats, not met, in which the change does nothing.
    Simulated coverage: :mod:`sim.validation.coverage`.

    Source: Hall, J. R. Stat. Soc. B 54 (1992) 221-228 (from memory); groups: :mod:`sim.statistics.rare_group`.

    :param sample: (n,) paired differences, any unit.
    :param two_sided: Level of the test it belongs to, from :func:`level`.
    :param floor: Least standard deviation to believe in.
    """
    plain = interval(sample, two_sided, floor)
    x = np.asarray(sample, dtype=float)
    n, mean = len(x), plain.value
    if n < 4:
        return plain
    spread = max(float(x.std(ddof=1)), floor)
    if spread == 0.0:
        return plain
    groups = rare_group.split(x, floor)
    if groups.apart:
        down, up = groups.reach(two_sided)
        down, up = (max(down, plain.half_width), up) if mean > 0.0 else (down, max(up, plain.half_width))
        return Estimate(mean, mean - down, mean + up)
    third = float(np.mean((x - mean) ** 3)) / spread**3
    quantile = float(stdtrit(n - 1, 1.0 - two_sided / 2.0)) / math.sqrt(n)
    down, up = (max(sign * spread * _untransformed(sign * quantile, third, n), 0.0) for sign in (1.0, -1.0))
    nothing = mean * rare_group.unseen(n, two_sided)
    if mean > 0.0:
        down = math.hypot(down, nothing)
    else:
        up = math.hypot(up, nothing)
    return Estimate(mean, mean - down, mean + up)


def part(sample: ArrayLike, inside: ArrayLike, two_sided: float, floor: float = 0.0) -> Estimate:
    """Mean of some of a sample, with an interval from the scatter of all of it about the means of both parts.

    Six repeats of a side say too little of how they scatter: an interval from them alone held the truth in 88 to 100 %
    of simulated studies. Both parts are taken to scatter alike; where one scatters three times as much as the other,
    its interval holds the truth in 90 %. Simulated coverage: :mod:`sim.validation.coverage`.

    :param inside: (n,) which of the sample, some and not all.
    :param floor: Least standard deviation to believe in.
    """
    x, here = np.asarray(sample, dtype=float), np.asarray(inside, dtype=bool)
    mean = float(x[here].mean())
    whole = wary(np.where(here, x, x - x[~here].mean() + mean), two_sided, floor)
    longer = math.sqrt(len(x) / int(here.sum()))
    return Estimate(mean, mean - longer * (whole.value - whole.low), mean + longer * (whole.high - whole.value))


def _untransformed(quantile: float, skew: float, n: int) -> float:
    """Inverse of Hall's ``z + a z^2 + a^2 z^3 / 3 + skew / (6 n)`` with ``a = skew / 3``."""
    a = skew / 3.0
    if abs(a) < 1e-6:
        return quantile
    return float((np.cbrt(1.0 + 3.0 * a * (quantile - skew / (6.0 * n))) - 1.0) / a)


def needed(effect: float, spread: float, two_sided: float, power: float = 0.8, most: int = 100_000) -> int:
    """Pairs for which a true mean difference is shown with the stated chance; ``most`` if even that is too few.

    Noncentral t. Source: Cohen, Statistical Power Analysis (2nd ed., 1988), ch. 2.
    """
    if effect == 0.0:
        return most
    low, high = 2, most
    if _power(high, effect, spread, two_sided) < power:
        return most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _power(middle, effect, spread, two_sided) >= power else (middle, high)
    return high


def _power(n: int, effect: float, spread: float, two_sided: float) -> float:
    if spread == 0.0:
        return 1.0
    shift = abs(effect) * math.sqrt(n) / spread
    edge = float(stdtrit(n - 1, 1.0 - two_sided / 2.0))
    if shift > 30.0:
        return 1.0
    return float(nct.sf(edge, n - 1, shift))


def rounding(steps: Sequence[float], factors: Sequence[float]) -> float:
    """Standard deviation that rounding alone gives a weighted sum of differences of two rounded limits each."""
    return math.sqrt(sum((f * s) ** 2 / 6.0 for s, f in zip(steps, factors, strict=True)))
