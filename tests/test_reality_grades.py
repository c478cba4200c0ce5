"""Scores of probability forecasts against published and independent values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression
from scipy.stats import binom, f_oneway

from sim.reality.grades import brier, calibration, gap, log_score

# Twelve-hour rain forecasts: forecast, relative frequency of rain after it, share of the 12 402 forecasts. Wilks,
# Statistical Methods in the Atmospheric Sciences, table 7.3 (p. 246), as reproduced in the examples of a public
# forecast-verification package, which also prints the overall frequency 0.162.
FORECAST = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]
SEEN = [0.006, 0.019, 0.059, 0.15, 0.277, 0.377, 0.511, 0.587, 0.723, 0.779, 0.934, 0.933]
SHARE = [0.4112, 0.0671, 0.1833, 0.0986, 0.0616, 0.0366, 0.0303, 0.0275, 0.0245, 0.022, 0.017, 0.0203]


def rain() -> tuple[list[int], list[int]]:
    n = [round(12402 * s) for s in SHARE]
    return [round(s * k) for s, k in zip(SEEN, n, strict=True)], n


def test_the_published_rain_forecasts() -> None:
    k, n = rain()
    assert sum(k) / sum(n) == pytest.approx(0.162, abs=5e-4)
    found = brier(FORECAST, k, n)
    # Its parts from the table's own printed columns, which carry three digits.
    share, p, o = np.array(SHARE) / sum(SHARE), np.array(FORECAST), np.array(SEEN)
    assert found.reliability == pytest.approx(float(share @ (p - o) ** 2), abs=1e-4)
    assert found.resolution == pytest.approx(float(share @ (o - 0.162) ** 2), abs=2e-4)
    assert found.uncertainty == pytest.approx(0.162 * 0.838, abs=5e-4)
    assert found.within == pytest.approx(0.0, abs=1e-12)


def test_resolution_is_the_variance_between_groups() -> None:
    # One-way analysis of variance (scipy): F = (SSB / (g - 1)) / (SSW / (N - g)); resolution = SSB / N.
    k, n = [2, 5, 9], [10, 10, 10]
    groups = [np.r_[np.ones(a), np.zeros(b - a)] for a, b in zip(k, n, strict=True)]
    statistic = float(f_oneway(*groups).statistic)
    found = brier([0.1, 0.5, 0.8], k, n)
    within = found.uncertainty - found.resolution
    assert found.resolution / 2 / (within / 27) == pytest.approx(statistic, rel=1e-12)


def test_reliability_is_what_recalibration_wins() -> None:
    # Pool-adjacent-violators (scipy) makes the best monotone forecasts; where the seen rates already rise they are
    # the seen rates, and the loss of score is the reliability (Dimitriadis, Gneiting & Jordan, PNAS 118, 2021).
    p, k, n = [0.1, 0.3, 0.6, 0.9], [3, 4, 12, 15], [20, 20, 20, 20]
    best = isotonic_regression(np.array(k) / np.array(n), weights=np.array(n, dtype=float)).x
    assert brier(p, k, n).score - brier(list(best), k, n).score == pytest.approx(brier(p, k, n).reliability, rel=1e-12)


@given(
    st.lists(st.tuples(st.floats(0.0, 1.0), st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=12),
    st.sampled_from([None, 3, 5, 10]),
)
def test_the_parts_sum_to_the_score(cells: list[tuple[float, int, int]], bins: int | None) -> None:
    p = [c[0] for c in cells]
    k = [c[1] for c in cells]
    n = [c[1] + c[2] + 1 for c in cells]
    found = brier(p, k, n, bins)
    each = [(q - y) ** 2 for q, a, b in cells for y in [1] * a + [0] * (b + 1)]
    each = [(q - 1) ** 2 for q, a, m in zip(p, k, n, strict=True) for _ in range(a)] + [
        q**2 for q, a, m in zip(p, k, n, strict=True) for _ in range(m - a)
    ]
    assert found.score == pytest.approx(np.mean(each), abs=1e-12)
    total = found.reliability - found.resolution + found.uncertainty + found.within
    assert total == pytest.approx(found.score, abs=1e-12)
    if bins is None:
        assert found.within == pytest.approx(0.0, abs=1e-12)


def test_log_score_of_a_coin_and_of_a_prophet() -> None:
    assert log_score([0.5, 0.5], [3, 0], [5, 2]) == pytest.approx(math.log(2.0), rel=1e-12)
    assert log_score([1.0, 0.0], [5, 0], [5, 2]) == 0.0
    assert math.isinf(log_score([1.0], [4], [5]))


def test_calibration_points() -> None:
    points = calibration([0.05, 0.15, 0.9], [1, 2, 9], [10, 10, 10], bins=5)
    assert [(round(p.forecast, 3), p.seen.successes, p.seen.trials) for p in points] == [(0.1, 3, 20), (0.9, 9, 10)]
    assert calibration([1.0], [1], [1])[0].forecast == 1.0


def test_gap_covers_nothing_where_there_is_none() -> None:
    rng = np.random.default_rng(4)
    p = rng.uniform(0.2, 0.8, 12)
    n = np.full(12, 5)
    names = [f"line {i}" for i in range(12)]
    sessions = 400
    hits = 0
    for _ in range(sessions):
        found = gap(list(p), list(rng.binomial(n, p)), list(n), names)
        hits += found.low <= 0.0 <= found.high
    # Never rarer than 95 % allows by accident (1 in 1000); it may be wider, since it never goes below independence.
    assert hits >= binom.ppf(1e-3, sessions, 0.95)


def test_gap_knows_that_tries_on_a_line_go_together() -> None:
    p, n = [0.5] * 4, [10] * 4
    together = gap(p, [10, 0, 10, 0], n, ["a", "b", "c", "d"])
    apart = gap(p, [5, 5, 5, 5], n, ["a", "b", "c", "d"])
    assert together.value == apart.value == 0.0
    assert together.half_width > 2.0 * apart.half_width
    assert gap([0.5], [5], [10], ["a"]).half_width == 1.0
