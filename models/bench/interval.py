"""From small errors of instruments to intervals of results.

Rules of the Guide to the expression of uncertainty in measurement (JCGM 100:2008): limits of plus or minus a without
further knowledge have the standard uncertainty a / sqrt(3) (4.3.7), a display of step d has d / sqrt(12) (F.2.2.1), and
few repeats widen an interval by the effective degrees of freedom (Welch-Satterthwaite, G.4).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from models.vector import Vector


@dataclass(frozen=True)
class Interval:
    """A result with its standard uncertainty and its 95 % interval, all in one unit."""

    value: float
    uncertainty: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half of the interval."""
        return 0.5 * (self.high - self.low)

    def times(self, factor: float) -> Interval:
        """Return the same in another unit."""
        return Interval(*(factor * x for x in (self.value, self.uncertainty, self.low, self.high)))

    @staticmethod
    def around(value: float, uncertainty: float, factor: float = 1.96) -> Interval:
        """Result within so many standard uncertainties: by default one whose errors are normal and well known."""
        return Interval(value, uncertainty, value - factor * uncertainty, value + factor * uncertainty)


def of_limits(half_width: float) -> float:
    """Standard uncertainty of something known to lie within plus or minus ``half_width``."""
    return half_width / math.sqrt(3.0)


def of_step(step: float) -> float:
    """Standard uncertainty that a display of this step leaves."""
    return step / math.sqrt(12.0)


def shared_rounding(step: float, spread: float) -> float:
    """Standard uncertainty that rounding leaves in the mean of any number of repeats.

    Repeats that scatter by ``spread`` before they are rounded meet different rounding errors, whose correlation falls
    off as ``exp(-(2 pi spread / step)^2)`` (first harmonic of the quantiser's characteristic function, Widrow & Kollar,
    Quantization Noise, Cambridge 2008, from memory). Without scatter all repeats are off alike.
    """
    return of_step(step) * math.exp(-0.5 * (2.0 * math.pi * spread / step) ** 2)


def pooled_scatter(groups: Sequence[Vector]) -> tuple[float, int]:
    """Standard deviation of single readings about their group's mean, over all groups, and its degrees of freedom.

    NaN and 0 if nothing was read twice.
    """
    repeated = [group for group in groups if len(group) > 1]
    freedom = sum(len(group) - 1 for group in repeated)
    if freedom == 0:
        return math.nan, 0
    return math.sqrt(sum(float(np.sum((g - g.mean()) ** 2)) for g in repeated) / freedom), freedom


def covering(value: float, uncertainty: float, estimated_share: float, freedom: int) -> Interval:
    """95 % interval of a result of which a share of the variance was itself estimated from few repeats.

    :param estimated_share: share of ``uncertainty**2`` that comes from the scatter of repeats, 0 to 1.
    :param freedom: degrees of freedom of that scatter; 0 if none of it was estimated.
    """
    effective = math.inf if freedom == 0 or estimated_share <= 0.0 else freedom / estimated_share**2
    factor = float(student.ppf(0.975, effective if math.isfinite(effective) else 1e9))
    return Interval.around(value, uncertainty, factor)


def gradient(function: Callable[[Vector], Vector], at: Vector, steps: Vector) -> Vector:
    """Jacobian (outputs, inputs) by central differences with a step per input."""
    columns = []
    for n, step in enumerate(steps):
        nudge = np.zeros_like(at)
        nudge[n] = step
        columns.append((function(at + nudge) - function(at - nudge)) / (2.0 * step))
    return np.array(columns).T
