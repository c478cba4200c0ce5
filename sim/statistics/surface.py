"""A smooth function of several inputs fitted to noisy values, with its error: what a few costly runs tell about many.

Linear and square terms under a normal prior whose width, like the noise, is taken from the data by maximising the
evidence; so that a term counts only where runs speak for it. The error is that of predicting each run from all the
others, in closed form from the hat matrix.

Source: Bishop, Pattern Recognition and Machine Learning (2006), sections 3.3 and 3.5; Hastie, Tibshirani & Friedman,
The Elements of Statistical Learning (2nd ed., 2009), equation 7.64. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
ROUNDS = 100


@dataclass(frozen=True)
class Surface:
    """Posterior of the weights of a fitted surface."""

    mean: Array
    """(terms,)"""
    covariance: Array
    """(terms, terms)"""
    square: NDArray[np.bool_]
    """(inputs,) whether the input has a square term too."""
    noise: float
    """Standard deviation of one run about the surface."""
    error: float
    """Root mean square of predicting each run from the others."""
    spread: float
    """Standard deviation of the runs."""

    @property
    def explained(self) -> float:
        """Share of the runs' variance that the surface predicts of runs it has not seen; 0 where it predicts none."""
        return max(0.0, 1.0 - (self.error / self.spread) ** 2) if self.spread > 0.0 else 0.0

    def at(self, inputs: Array) -> Array:
        """(n,) values at (n, inputs)."""
        return np.asarray(_terms(inputs, self.square) @ self.mean)

    def draws(self, inputs: Array, rng: np.random.Generator) -> Array:
        """(n,) values, each of another surface that the runs leave open."""
        if not np.any(self.covariance):  # all runs were alike: nothing is left open
            return self.at(inputs)
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.trace(self.covariance) * np.eye(len(self.mean)))
        weights = self.mean + rng.standard_normal((len(inputs), len(self.mean))) @ root.T
        return np.asarray(np.einsum("np,np->n", _terms(inputs, self.square), weights))


def fit(inputs: Array, values: Array, square: NDArray[np.bool_]) -> Surface:
    """Fit a surface that is zero where all inputs are.

    :param inputs: (n, inputs) in units in which 1 is about as far as they go.
    :param values: (n,)
    :param square: (inputs,) which have a square term.
    """
    terms = _terms(inputs, square)
    n, count = terms.shape
    spread = float(values.std())
    if spread == 0.0:
        return Surface(np.zeros(count), np.zeros((count, count)), square, 0.0, 0.0, 0.0)
    alpha, beta = 1.0 / spread**2, 2.0 / spread**2
    gram = terms.T @ terms
    eigen = np.maximum(np.linalg.eigvalsh(gram), 0.0)
    mean: Array = np.zeros(count)
    covariance: Array = np.eye(count)
    for _ in range(ROUNDS):
        covariance = np.asarray(np.linalg.inv(alpha * np.eye(count) + beta * gram))
        mean = np.asarray(beta * covariance @ terms.T @ values)
        gamma = float(np.sum(beta * eigen / (alpha + beta * eigen)))
        residual = float(np.sum((values - terms @ mean) ** 2))
        before = alpha, beta
        # Bounds keep a fit without any signal, or without any noise, finite.
        alpha = min(gamma / max(float(mean @ mean), 1e-12), 1e6 / spread**2)
        beta = min(max(n - gamma, 1.0) / max(residual, 1e-12), 1e6 / spread**2)
        if np.allclose(before, (alpha, beta), rtol=1e-4):
            break
    leverage = beta * np.einsum("np,pq,nq->n", terms, covariance, terms)
    out = (values - terms @ mean) / np.maximum(1.0 - leverage, 1e-3)
    return Surface(mean, covariance, square, 1.0 / float(np.sqrt(beta)), float(np.sqrt(np.mean(out**2))), spread)


def _terms(inputs: Array, square: NDArray[np.bool_]) -> Array:
    x = np.asarray(inputs, dtype=float)
    return np.hstack([x, x[:, square] ** 2])
