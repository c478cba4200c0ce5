"""The winner of several noisy gains, brought back by what picking a winner adds; and who really is first.

Empirical Bayes with a normal prior whose mean and spread come from the gains themselves. Source: Efron & Morris,
J. Am. Stat. Assoc. 70 (1975) 311-319. From memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
DRAWS = 8192


def shrunk(gains: ArrayLike, errors: ArrayLike) -> Array:
    """(k,) gains drawn towards their mean by as much as their errors say; unchanged below three."""
    g, s = np.asarray(gains, dtype=float), np.asarray(errors, dtype=float)
    if len(g) < 3:
        return g
    true = max(float(g.var(ddof=1) - np.mean(s**2)), 0.0)
    keep = true / np.maximum(true + s**2, 1e-12)
    return np.asarray(g.mean() + keep * (g - g.mean()))


def draws(sample: ArrayLike, seed: int = 0) -> Array:
    """(DRAWS, k) means that a (k, n) paired sample leaves open: Student's t with the sample's covariance."""
    x = np.asarray(sample, dtype=float)
    k, n = x.shape
    covariance = np.atleast_2d(np.cov(x)) / n
    rng = np.random.default_rng(seed)
    scale = np.sqrt((n - 1) / rng.chisquare(n - 1, DRAWS))
    root = np.linalg.cholesky(covariance + (1e-12 + 1e-9 * np.trace(covariance)) * np.eye(k))
    return np.asarray(x.mean(axis=1) + scale[:, None] * (rng.standard_normal((DRAWS, k)) @ root.T))


def first_places(drawn: Array, places: int) -> Array:
    """(k,) share of the draws in which each is among the first ``places``."""
    order = np.argsort(-drawn, axis=1)[:, :places]
    return np.array([float(np.mean(np.any(order == k, axis=1))) for k in range(drawn.shape[1])])
