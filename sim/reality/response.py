"""Success of the simulated truck as a function of grip: a curve through trials at several grips."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from models.vector import Vector

LEVEL_DOUBT, SLOPE_DOUBT = 3.0, 20.0
"""Prior standard deviations: of the log odds at the sheet's grip, and of their change per unit of log grip. The luck
of a trial moves grip by some 4 %, so that a limit of grip alone gives a slope of about 1.7 / 0.04."""
_STEPS = 100


@dataclass(frozen=True)
class Response:
    """Log odds of success, straight in the logarithm of the grip factor, with their doubt from finitely many trials."""

    level: float
    slope: float
    covariance: Vector
    """(2, 2)."""
    trials: int

    def odds(self, grip: Vector) -> Vector:
        """Log odds at grip factors, drawn towards even odds as far as the curve is in doubt.

        The mean of a logistic over a normal doubt of variance v has about the log odds ``m / sqrt(1 + pi v / 8)``
        (MacKay, Neural Computation 4, 1992, 720-736).
        """
        x = np.log(np.asarray(grip, dtype=float))
        design = np.stack([np.ones_like(x), x], axis=-1)
        doubt = np.einsum("...i,ij,...j->...", design, self.covariance, design)
        return np.asarray((self.level + self.slope * x) / np.sqrt(1.0 + math.pi * doubt / 8.0))

    def chance(self, grip: float) -> float:
        """Probability of success at a grip factor; 1 is the sheet's own grip."""
        return float(expit(self.odds(np.array([grip]))[0]))


def response(grips: Sequence[float], successes: Sequence[int], trials: Sequence[int]) -> Response:
    """Fit the curve to counts at grip factors: the posterior mode of a logistic regression, and its curvature.

    Newton's method on a concave function: it always arrives.
    """
    x = np.log(np.asarray(grips, dtype=float))
    k, n = np.asarray(successes, dtype=float), np.asarray(trials, dtype=float)
    design = np.stack([np.ones_like(x), x], axis=1)
    prior = np.diag([LEVEL_DOUBT**-2, SLOPE_DOUBT**-2])
    beta = np.zeros(2)

    def value(b: Vector) -> float:
        eta = design @ b
        return float(k @ eta - n @ np.logaddexp(0.0, eta) - 0.5 * b @ prior @ b)

    def curvature(p: Vector) -> Vector:
        return np.asarray(design.T @ ((n * p * (1 - p))[:, None] * design) + prior)

    for _ in range(_STEPS):
        p = expit(design @ beta)
        step = np.linalg.solve(curvature(p), design.T @ (k - n * p) - prior @ beta)
        share = 1.0
        while value(beta + share * step) < value(beta) and share > 1e-6:
            share *= 0.5
        beta = beta + share * step
        if float(np.max(np.abs(share * step))) < 1e-10:
            break
    covariance = np.asarray(np.linalg.inv(curvature(expit(design @ beta))))
    return Response(float(beta[0]), float(beta[1]), covariance, int(n.sum()))
