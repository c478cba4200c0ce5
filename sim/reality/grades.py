"""How good probability forecasts were: Brier score and its parts, log score, calibration.

Sources: Brier, Monthly Weather Review 78 (1950) 1-3; the parts by Murphy, J. Applied Meteorology 12 (1973) 595-600;
the parts inside a bin by Stephenson, Coelho & Jolliffe, Weather and Forecasting 23 (2008) 752-757; the log score by
Good, J. R. Stat. Soc. B 14 (1952) 107-114.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from models.vector import Vector
from sim.statistics.interval import Estimate, Rate, wilson


@dataclass(frozen=True)
class Brier:
    """Mean squared error of the probabilities and what it is made of: ``score = reliability - resolution +
    uncertainty + within``.

    ``reliability`` (smaller is better) is how far forecasts lie from what then happened; ``resolution`` (larger is
    better) how far they tell lines apart; ``uncertainty`` what nobody can help; ``within`` what binning hides, 0 if
    every forecast value is its own bin.
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float

    @property
    def skill(self) -> float:
        """1 is perfect, 0 no better than always saying the overall rate; NaN if all ended alike."""
        return 1.0 - self.score / self.uncertainty if self.uncertainty > 0 else math.nan


def brier(forecast: Sequence[float], successes: Sequence[int], tries: Sequence[int], bins: int | None = None) -> Brier:
    """Score forecasts of groups of tries.

    :param forecast: Probability for each group.
    :param successes, tries: What happened in it.
    :param bins: Number of equal bins of probability; None takes every distinct forecast as its own bin.
    """
    p, k, n = (np.asarray(x, dtype=float) for x in (forecast, successes, tries))
    total = n.sum()
    overall = float(k.sum() / total)
    score = float(np.sum(k * (1 - p) ** 2 + (n - k) * p**2) / total)
    reliability = resolution = 0.0
    for members in _bins(p, bins):
        weight = n[members].sum()
        mean = float(n[members] @ p[members] / weight)
        seen = float(k[members].sum() / weight)
        reliability += weight / total * (mean - seen) ** 2
        resolution += weight / total * (seen - overall) ** 2
    uncertainty = overall * (1.0 - overall)
    return Brier(score, reliability, resolution, uncertainty, score - (reliability - resolution + uncertainty))


def _bins(p: Vector, bins: int | None) -> list[NDArray[np.int_]]:
    label = np.unique(p, return_inverse=True)[1] if bins is None else np.minimum((p * bins).astype(int), bins - 1)
    return [np.flatnonzero(label == value) for value in np.unique(label)]


@dataclass(frozen=True)
class CalibrationPoint:
    """Forecasts of about one size and what then happened."""

    forecast: float
    """Mean over the tries."""
    seen: Rate


def calibration(
    forecast: Sequence[float], successes: Sequence[int], tries: Sequence[int], bins: int = 5
) -> list[CalibrationPoint]:
    """Calibration curve in equal bins of probability; empty bins are left out."""
    p, k, n = np.asarray(forecast, dtype=float), np.asarray(successes), np.asarray(tries)
    points = []
    for members in _bins(p, bins):
        weight = int(n[members].sum())
        if weight:
            mean = float(n[members] @ p[members] / weight)
            points.append(CalibrationPoint(mean, wilson(int(k[members].sum()), weight)))
    return points


def log_score(forecast: Sequence[float], successes: Sequence[int], tries: Sequence[int]) -> float:
    """Mean negative log probability of what happened, nats per try; 0.69 is a coin, smaller is better."""
    per_group = log_scores(forecast, successes, tries)
    return float(per_group.sum() / np.sum(tries))


def log_scores(forecast: Sequence[float], successes: Sequence[int], tries: Sequence[int]) -> Vector:
    """The same summed over the tries of each group."""
    p, k, n = (np.asarray(x, dtype=float) for x in (forecast, successes, tries))
    with np.errstate(divide="ignore", invalid="ignore"):
        hit = np.where(k > 0, k * np.log(p), 0.0)
        miss = np.where(n - k > 0, (n - k) * np.log1p(-p), 0.0)
    return np.asarray(-(hit + miss))


def gap(
    forecast: Sequence[float], successes: Sequence[int], tries: Sequence[int], lines: Sequence[str]
) -> Estimate:
    """How much more often it went than forecast, as a share of tries, with a 95 % interval over lines.

    Tries on one line share its oddities, so the spread is taken between lines (ratio estimator with a cluster
    variance; Cochran, Sampling Techniques, 3rd ed. 1977, ch. 9A, from memory; Student's t on lines - 1).
    """
    p, k, n = (np.asarray(x, dtype=float) for x in (forecast, successes, tries))
    total = n.sum()
    # With few lines their spread may come out small by luck: never below that of independent tries.
    return per_try(k - n * p, n, lines, 1.0, math.sqrt(float((n * p * (1 - p)).sum())) / total)


def per_try(
    gains: Vector, tries: Vector, lines: Sequence[str], widest: float = math.inf, least_spread: float = 0.0
) -> Estimate:
    """Sum of gains over the sum of tries, with a 95 % interval over lines as for :func:`gap`.

    :param widest: Half of the interval that one line alone leaves, about nothing.
    """
    total = float(tries.sum())
    value = float(gains.sum()) / total
    names = sorted(set(lines))
    if len(names) < 2:
        return Estimate(value, -widest, widest)
    own, count = np.array(list(lines)), len(names)
    sums = np.array([(gains - value * tries)[own == name].sum() for name in names])
    spread = max(math.sqrt(count / (count - 1) * float(sums @ sums)) / total, least_spread)
    half = float(student.ppf(0.975, count - 1)) * spread
    return Estimate(value, value - half, value + half)
