"""Repetition scheme: table of allowed failures for a reliability of 80 %.

The numbers are binomial tails (computed with scipy and, here, summed term by term); the form of the scheme is that of
Leber, Pibida and Enders (NIST), see sim.statistics.reliability.
"""

from __future__ import annotations

from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from sim.errors import SimError
from sim.statistics import reliability

TABLE = {
    0.80: {10: 0, 20: 1, 30: 3, 40: 5, 50: 7, 100: 16},
    0.85: {10: 0, 20: 1, 30: 3, 40: 4, 50: 6, 100: 15},
    0.90: {10: None, 20: 1, 30: 2, 40: 4, 50: 5, 100: 14},
    0.95: {10: None, 20: 0, 30: 2, 40: 3, 50: 5, 100: 13},
}
SMALLEST = {
    0.80: (8, 14, 21, 27, 33, 39, 44),
    0.85: (9, 16, 23, 29, 35, 41, 47),
    0.90: (11, 18, 25, 32, 38, 45, 51),
    0.95: (14, 22, 30, 37, 44, 50, 57),
}


@pytest.mark.parametrize("confidence", TABLE)
def test_allowed_failures(confidence: float) -> None:
    for repetitions, allowed in TABLE[confidence].items():
        assert reliability.allowed_failures(repetitions, 0.8, confidence) == allowed


@pytest.mark.parametrize("confidence", SMALLEST)
def test_fewest_repetitions(confidence: float) -> None:
    found = tuple(reliability.repetitions_needed(c, 0.8, confidence) for c in range(7))
    assert found == SMALLEST[confidence]


@pytest.mark.parametrize(
    ("n", "c", "expected"), [(10, 0, 0.8926), (20, 1, 0.9308), (30, 3, 0.8773), (30, 2, 0.9558), (30, 4, 0.7448)]
)
def test_confidence_reached(n: int, c: int, expected: float) -> None:
    assert reliability.confidence_reached(n, c) == pytest.approx(expected, abs=5e-5)  # printed digits


def test_lower_bound_is_the_one_sided_clopper_pearson_bound() -> None:
    assert reliability.lower_bound(30, 3, 0.85) == pytest.approx(0.80948, abs=5e-6)
    assert reliability.lower_bound(10, 0, 0.85) == pytest.approx(0.82720, abs=5e-6)
    # Second opinion: a two-sided interval of level 1 - 2 (1 - C) has the same lower end.
    low, _ = proportion_confint(27, 30, alpha=0.3, method="beta")
    assert reliability.lower_bound(30, 3, 0.85) == pytest.approx(float(low), rel=1e-9)


@given(n=st.integers(1, 120), c=st.integers(0, 120), target=st.sampled_from([0.5, 0.8, 0.95]))
def test_confidence_equals_the_summed_tail(n: int, c: int, target: float) -> None:
    c = min(c, n)
    tail = sum(comb(n, k) * (1 - target) ** k * target ** (n - k) for k in range(c + 1))
    assert reliability.confidence_reached(n, c, target) == pytest.approx(1 - tail, abs=1e-12)


@given(n=st.integers(1, 200), target=st.floats(0.3, 0.97), confidence=st.floats(0.5, 0.99))
def test_allowed_is_the_last_count_that_reaches_the_confidence(n: int, target: float, confidence: float) -> None:
    allowed = reliability.allowed_failures(n, target, confidence)
    if allowed is not None:
        assert reliability.confidence_reached(n, allowed, target) >= confidence
    too_many = 0 if allowed is None else allowed + 1
    if too_many <= n:
        assert reliability.confidence_reached(n, too_many, target) < confidence


def test_demonstration_tells_whether_it_is_shown() -> None:
    assert reliability.demonstrate(30, 3).shown
    assert not reliability.demonstrate(30, 4).shown
    assert not reliability.demonstrate(5, 0).shown


@pytest.mark.parametrize("bad", [(0, 0, 0.8, 0.8), (10, 11, 0.8, 0.8), (10, -1, 0.8, 0.8), (10, 0, 1.0, 0.8)])
def test_impossible_counts_are_refused(bad: tuple[int, int, float, float]) -> None:
    with pytest.raises(SimError):
        reliability.demonstrate(*bad)
