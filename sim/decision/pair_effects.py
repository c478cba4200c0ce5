"""Value of every set of changes from those that were driven: what each change brings, and how pairs get on.

A linear model with a normal prior: main effects wide, pair effects narrower, so that pairs count only where trials
speak for them. The posterior gives every set a value and an uncertainty. Source: Gelman et al., Bayesian Data Analysis
(3rd ed., 2013), sections 14.2 and 14.8.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from sim.decision.change_sets import Masks, bits

Array = NDArray[np.float64]
PAIR_SHARE = 0.5
"""Prior standard deviation of a pair effect over that of a main effect (assumed)."""
LEAST_SPREAD = 0.5
"""Least prior standard deviation of a main effect, in the unit of the values."""


@dataclass(frozen=True)
class SetValues:
    """Posterior over the values of sets; the empty set has none."""

    masks: Masks
    value: Array
    """(sets,) mean."""
    doubt: Array
    """(sets,) standard deviation."""

    def of(self, mask: int) -> tuple[float, float]:
        """Value and doubt of one set."""
        index = int(np.searchsorted(self.masks, mask))
        return float(self.value[index]), float(self.doubt[index])


def fit(masks: Masks, count: int, driven: Mapping[int, tuple[float, float]]) -> SetValues:
    """Fit the model to driven sets.

    :param masks: Sets to predict, ascending.
    :param count: Changes.
    :param driven: Set to (value, standard error); the empty set is 0 without saying.
    """
    known = {mask: pair for mask, pair in driven.items() if mask}
    keys = np.array(sorted(known), dtype=np.int64)
    y = np.array([known[int(k)][0] for k in keys])
    error = np.array([max(known[int(k)][1], 1e-6) for k in keys])
    singles = np.array([known[1 << k][0] for k in range(count) if 1 << k in known] or [1.0])
    spread = max(float(np.sqrt(np.mean(singles**2))), LEAST_SPREAD)
    pairs = count * (count - 1) // 2
    prior = np.concatenate([np.full(count, (2.0 * spread) ** 2), np.full(pairs, (PAIR_SHARE * spread) ** 2)])
    design = _design(keys, count)
    # The weights are integrated out: covariance of the data under the prior, then the usual conditional normal.
    covariance = (design * prior) @ design.T + np.diag(error**2)
    gain = np.linalg.solve(covariance, (design * prior)).T
    mean = gain @ y
    ahead = _design(masks, count)
    before = np.einsum("sp,p,sp->s", ahead, prior, ahead)
    cross = (ahead * prior) @ design.T
    explained = np.einsum("sk,sk->s", cross, np.linalg.solve(covariance, cross.T).T)
    return SetValues(masks, ahead @ mean, np.sqrt(np.maximum(before - explained, 0.0)))


def _design(masks: Masks, count: int) -> Array:
    there = bits(masks, count)
    pairs = [there[:, a] * there[:, b] for a, b in combinations(range(count), 2)]
    return np.column_stack([there, *pairs]) if pairs else there
