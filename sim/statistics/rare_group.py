"""Mean of a sample that falls into two groups apart: a change that helps in eleven repeats and not in the twelfth.

What such a mean may be off by is mostly the rarer group's share, and that share has its score interval. Within the
groups scatter is Student's. Where a group holds one or two repeats nobody knows whether it is a group of its own or one
of several, so that the end away from it reaches the other group's mean at least. Where all repeats are of one kind,
the other kind may still be there: up to the share that as many repeats may have missed.

Sources: Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212 (share); Zou & Donner, Stat. Med. 27 (2008) 1693-1702 (interval
of a sum from those of its terms); both from memory. ``APART`` and ``FEW`` are our own, by simulation
(:mod:`sim.validation.coverage`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sim.statistics.interval import wilson

Array = NDArray[np.float64]
APART = 5.0
"""Standard deviations within the groups from which on they lie apart."""
FEW = 2


@dataclass(frozen=True)
class Split:
    """The best two groups of a sample, by least squares."""

    n: int
    below: int
    """How many are in the lower group."""
    gap: float
    """Between the groups' means."""
    within: float
    """Standard deviation within the groups."""

    @property
    def apart(self) -> bool:
        """Whether they are groups, and not two halves of one scatter."""
        return self.gap > APART * self.within

    def reach(self, two_sided: float) -> tuple[float, float]:
        """How far the mean may lie below and above the sample's."""
        share = self.below / self.n
        known = wilson(self.below, self.n, 1.0 - two_sided)
        half = float(stdtrit(self.n - 1, 1.0 - two_sided / 2.0)) * self.within / math.sqrt(self.n)
        down, up = math.hypot(self.gap * (known.high - share), half), math.hypot(self.gap * (share - known.low), half)
        if self.below <= FEW:
            up = self.gap * share + half
        if self.n - self.below <= FEW:
            down = self.gap * (1.0 - share) + half
        return down, up


def split(sample: Array, floor: float = 0.0) -> Split:
    """Split a sample (n >= 3) in two.

    :param floor: Least standard deviation to believe in within a group.
    """
    x = np.sort(sample)
    n, below = len(x), np.arange(1, len(x))
    sums, squares = np.cumsum(x), np.cumsum(x**2)
    left = squares[:-1] - sums[:-1] ** 2 / below
    right = squares[-1] - squares[:-1] - (sums[-1] - sums[:-1]) ** 2 / (n - below)
    best = int(np.argmin(left + right))
    within = math.sqrt(max(float(left[best] + right[best]), 0.0) / (n - 2))
    gap = float(x[best + 1 :].mean() - x[: best + 1].mean())
    return Split(n, best + 1, gap, max(within, floor))


def unseen(n: int, two_sided: float) -> float:
    """Share that a kind may have of which ``n`` repeats hold none."""
    return wilson(0, n, 1.0 - two_sided).high
