"""Textbook fits of clears over levels: common slopes for two groups by logit or probit, and Spearman-Karber.

They stand beside the adaptive curve of :mod:`sim.statistics.threshold`: no lapses, no luck, no prior. With levels
``x`` the chance to clear is ``F((middle - x) / spread)``; two groups share the spread, so that what lies between them
is one shift (D. J. Finney, Probit Analysis, 3rd ed., 1971, ch. 4 and 6, from memory). Spearman-Karber takes the mean of
the level at which it is lost straight from the rates (Finney 1971, ch. 10, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, log_expit, log_ndtr
from scipy.stats import norm

from sim.errors import SimError

Array = NDArray[np.float64]
Curve = Literal["logit", "probit"]
_LOGS: dict[str, Callable[[Array], Array]] = {"logit": log_expit, "probit": log_ndtr}


@dataclass(frozen=True)
class LevelCounts:
    """What one group did: ``clears`` of ``tries`` at each of ``levels``; (n,) each."""

    levels: Array
    tries: Array
    clears: Array


@dataclass(frozen=True)
class CommonSlope:
    """Two groups on curves of one spread; levels' unit."""

    middles: tuple[float, float]
    """Levels that either clears half of the time."""
    spread: float
    """Scale of the curve: of the logistic or of the normal law."""
    shift: float
    """Second middle less the first."""
    interval: tuple[float, float]
    """95 % of the shift, from the curvature of the likelihood."""


def common_slope(first: LevelCounts, second: LevelCounts, curve: Curve = "logit") -> CommonSlope:
    """Fit one spread and two middles by maximum likelihood.

    :raises SimError: nothing is learned about the spread: a level parts clears from fails in either group.
    """
    if _split(first) and _split(second):
        raise _no_curve()
    log = _LOGS[curve]
    x = np.concatenate([first.levels, second.levels]).astype(float)
    n = np.concatenate([first.tries, second.tries]).astype(float)
    k = np.concatenate([first.clears, second.clears]).astype(float)
    which = np.repeat([0, 1], [len(first.levels), len(second.levels)])
    mid, scale = float(x.mean()), float(np.ptp(x)) or 1.0
    design = np.column_stack([which == 0, which == 1, -(x - mid) / scale]).astype(float)

    def miss(b: Array) -> float:
        eta = design @ b
        return -float(np.sum(k * log(eta) + (n - k) * log(-eta)))

    def slope(b: Array) -> Array:
        eta = design @ b
        if curve == "logit":
            pull = k - n * expit(eta)
        else:
            density = norm.logpdf(eta)
            pull = k * np.exp(density - log_ndtr(eta)) - (n - k) * np.exp(density - log_ndtr(-eta))
        return np.asarray(-design.T @ pull)

    fit = minimize(miss, np.array([0.0, 0.0, 1.0]), jac=slope, method="BFGS", options={"gtol": 1e-8})
    b = fit.x
    if not b[2] > 0.0 or b[2] > 1e3:
        raise _no_curve()
    eta = design @ b
    if curve == "logit":
        weight = n * expit(eta) * expit(-eta)
    else:
        weight = n * np.exp(2.0 * norm.logpdf(eta) - log_ndtr(eta) - log_ndtr(-eta))
    covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
    spread = scale / float(b[2])
    middles = mid + spread * float(b[0]), mid + spread * float(b[1])
    gradient = np.array([-1.0, 1.0, -(b[1] - b[0]) / b[2]]) * spread
    half = float(norm.ppf(0.975)) * math.sqrt(float(gradient @ covariance @ gradient))
    shift = middles[1] - middles[0]
    return CommonSlope(middles, spread, shift, (shift - half, shift + half))


def _split(tried: LevelCounts) -> bool:
    """Tell whether every clear lies below every fail, but for one level that both share: the likeliest curve is a step.
    """
    cleared, failed = tried.levels[tried.clears > 0], tried.levels[tried.clears < tried.tries]
    return len(cleared) == 0 or len(failed) == 0 or bool(cleared.max() <= failed.min())


def _no_curve() -> SimError:
    return SimError(
        "no curve can be fitted: clears and fails do not overlap, or there are more clears at the harder levels",
        field="levels", remedy="Try levels in between, or use a searched limit.",
    )


def spearman_karber(tried: LevelCounts) -> tuple[float, float]:
    """Mean level at which it is lost, and its standard error, without a curve; rates are first made to fall (pooled).

    ``sum (p_i - p_i+1) (x_i + x_i+1) / 2``, variance ``sum p q / (n - 1) ((x_i+1 - x_i-1) / 2)^2`` over inner levels.

    :raises SimError: not everything clears at the lowest level or something does at the highest.
    """
    order = np.argsort(tried.levels)
    x, n, k = (np.asarray(a, dtype=float)[order] for a in (tried.levels, tried.tries, tried.clears))
    p = _falling(k / n, n)
    if p[0] < 1.0 or p[-1] > 0.0:
        raise SimError("the rates do not go from all to none", field="levels", value=f"{p[0]:.2f} to {p[-1]:.2f}",
                       remedy="Add easier or harder levels.")
    mean = float(np.sum((p[:-1] - p[1:]) * (x[:-1] + x[1:]) / 2.0))
    wide = (x[2:] - x[:-2]) / 2.0
    variance = float(np.sum(p[1:-1] * (1.0 - p[1:-1]) / np.maximum(n[1:-1] - 1.0, 1.0) * wide**2))
    return mean, math.sqrt(variance)


def _falling(rates: Array, weights: Array) -> Array:
    """Rates made to fall: neighbours in the wrong order get their common mean (pool adjacent violators)."""
    blocks: list[list[float]] = []
    for rate, weight in zip(rates, weights, strict=True):
        blocks.append([float(rate), float(weight), 1.0])
        while len(blocks) > 1 and blocks[-1][0] > blocks[-2][0]:
            r, w, c = blocks.pop()
            last = blocks[-1]
            last[0] = (last[0] * last[1] + r * w) / (last[1] + w)
            last[1] += w
            last[2] += c
    return np.concatenate([np.full(int(c), r) for r, _, c in blocks])
