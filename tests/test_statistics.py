"""Rates, paired differences and quantiles against published tables and an independent library."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.contingency_tables import mcnemar as reference
from statsmodels.stats.proportion import proportion_confint

from sim.errors import SimError
from sim.statistics.interval import paired_median, quantile, wilson
from sim.statistics.paired import PairTable, mcnemar, paired_difference, pairs_needed, tabulate, verdict

PRINTED = 5.1e-5
"""Half a unit of the fourth decimal, which is what the tables print."""


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [
        # Newcombe, Stat. Med. 17 (1998) 857-872, Table I, method 3
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (29, 29, 0.8830, 1.0),
        # Closed form at the ends, z^2 / (n + z^2)
        (0, 8, 0.0, 0.3244),
        (8, 8, 0.6756, 1.0),
        # Fagerland, Lydersen & Laake, Statistical Analysis of Contingency Tables (2017), chapter 2
        (13, 16, 0.5699, 0.9341),
    ],
)
def test_wilson_published(successes: int, trials: int, low: float, high: float) -> None:
    rate = wilson(successes, trials)
    assert rate.low == pytest.approx(low, abs=PRINTED)
    assert rate.high == pytest.approx(high, abs=PRINTED)


@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.floats(0.5, 0.999))
def test_wilson_against_statsmodels(counts: tuple[int, int], confidence: float) -> None:
    k, n = counts
    rate = wilson(k, n, confidence)
    low, high = proportion_confint(k, n, alpha=1 - confidence, method="wilson")
    assert (rate.low, rate.high) == pytest.approx((low, high), abs=1e-12)
    assert 0 <= rate.low <= rate.share <= rate.high <= 1


def test_wilson_without_trials_and_with_nonsense() -> None:
    nothing = wilson(0, 0)
    assert (nothing.low, nothing.high) == (0.0, 1.0)
    assert math.isnan(nothing.share)
    with pytest.raises(SimError, match="between 0 and the trials"):
        wilson(3, 2)


@pytest.mark.parametrize(
    ("cells", "difference", "low", "high"),
    [
        # Fagerland, Lydersen & Laake (2017), chapter 8; data of Cavo et al. (2012)
        ((59, 6, 16, 80), -0.0621, -0.1186, -0.0046),
        ((1, 0, 0, 1), 0.0, -0.5734, 0.5734),
        # Data of Bentur et al. (2009), same book; limits computed by an independent program
        ((1, 1, 7, 12), -0.2857, -0.5069, -0.0256),
        # Newcombe, Stat. Med. 17 (1998) 2635-2650 (from memory), limits computed by an independent program
        ((20, 12, 2, 16), 0.2000, 0.0562, 0.3292),
        ((36, 12, 2, 0), 0.2000, 0.0569, 0.3404),
    ],
)
def test_paired_difference_published(
    cells: tuple[int, int, int, int], difference: float, low: float, high: float
) -> None:
    got = paired_difference(PairTable(*cells))
    assert (got.value, got.low, got.high) == pytest.approx((difference, low, high), abs=PRINTED)


@pytest.mark.parametrize(
    ("cells", "exact", "mid"),
    [
        # Same book and data as above
        ((59, 6, 16, 80), 0.052479, 0.034690),
        ((1, 1, 7, 12), 0.070313, 0.039063),
        ((20, 12, 2, 16), 0.012939, None),
    ],
)
def test_mcnemar_published(cells: tuple[int, int, int, int], exact: float, mid: float | None) -> None:
    got_exact, got_mid = mcnemar(PairTable(*cells))
    assert got_exact == pytest.approx(exact, abs=5.1e-7)
    if mid is not None:
        assert got_mid == pytest.approx(mid, abs=5.1e-7)


@given(st.tuples(*[st.integers(0, 400)] * 4))
def test_mcnemar_against_statsmodels(cells: tuple[int, int, int, int]) -> None:
    table = PairTable(*cells)
    exact, mid = mcnemar(table)
    if table.changed_only + table.baseline_only == 0:
        assert (exact, mid) == (1.0, 1.0)
        return
    a, b, c, d = cells
    assert exact == pytest.approx(reference([[a, b], [c, d]], exact=True).pvalue, rel=1e-9)
    assert 0 <= mid <= exact <= 1


def test_no_pairs_say_nothing() -> None:
    got = paired_difference(PairTable(0, 0, 0, 0))
    assert all(math.isnan(x) for x in (got.value, got.low, got.high))
    said = verdict(PairTable(0, 0, 0, 0))
    assert said.word == "too few trials"
    assert said.more > 0


@given(st.tuples(*[st.integers(0, 60)] * 4))
def test_swapping_the_two_mirrors_the_interval(cells: tuple[int, int, int, int]) -> None:
    both, one, other, neither = cells
    if sum(cells) == 0:
        return
    there = paired_difference(PairTable(both, one, other, neither))
    back = paired_difference(PairTable(both, other, one, neither))
    assert (there.value, there.low, there.high) == pytest.approx((-back.value, -back.high, -back.low), abs=1e-12)
    assert there.low <= there.value <= there.high


def test_words_follow_the_interval() -> None:
    assert verdict(PairTable(20, 12, 2, 16)).words == "better"
    assert verdict(PairTable(20, 2, 12, 16)).words == "worse"
    open_question = verdict(PairTable(20, 5, 3, 12))
    assert open_question.words == f"no difference shown (needs about {open_question.more} more)"


def test_no_word_without_trials_nor_against_the_exact_test() -> None:
    """Eleven pairs say nothing; 5 to 0 has an interval that leaves out zero but an exact p of 0.06."""
    few = verdict(PairTable(0, 11, 0, 0))
    assert few.words == f"too few trials (needs about {few.more} more)"
    said = verdict(PairTable(25, 5, 0, 10))
    assert said.difference.low > 0.0
    assert said.exact_p == pytest.approx(0.0625)
    assert said.word == "no difference shown"


def test_what_is_said_where_no_difference_is_shown() -> None:
    assert verdict(PairTable(1, 1, 0, 38)).words == "too hard for both: lower the level"
    assert verdict(PairTable(38, 1, 0, 1)).words == "too easy for both: raise the level"
    assert verdict(PairTable(100, 2, 3, 95)).words == "practically equal"


def test_read_together_a_weak_difference_falls() -> None:
    alone = verdict(PairTable(20, 9, 1, 16))
    assert alone.word == "better"
    assert replace(alone, adjusted_p=5 * alone.exact_p).word == "no difference shown"


def test_pairs_needed_has_the_stated_power() -> None:
    """Monte Carlo of the whole verdict: 80 % planned; the score interval is a little stricter than the formula."""
    p_one, p_other = 0.30, 0.10
    # The exact test of the verdict wants 1 / difference pairs more, as :func:`verdict` plans them.
    n = pairs_needed(p_one + p_other, p_one - p_other) + 5
    draws = np.random.default_rng(5).multinomial(n, [0.3, p_one, p_other, 0.3], size=2000)
    shown = np.mean([verdict(PairTable(*(int(c) for c in row))).word == "better" for row in draws])
    # Binomial standard error at 2,000 draws is 0.9 points
    assert 0.76 <= shown <= 0.86


def test_pairs_needed_against_the_formula_by_hand() -> None:
    # z = 1.95996, 0.84162: (1.95996 sqrt(.4) + .84162 sqrt(.4 - .04))^2 / .04 = 76.09, rounded up
    assert pairs_needed(0.4, 0.2) == 77
    with pytest.raises(SimError):
        pairs_needed(0.1, 0.2)


def test_tabulate_counts_each_pair_once() -> None:
    pairs = [(True, True), (True, False), (False, True), (False, False), (True, False)]
    assert tabulate(pairs) == PairTable(1, 2, 1, 1)


def test_median_interval_by_hand() -> None:
    """Ten values: ranks 2 and 9 cover the median with 1 - 2 * 11 / 1024 = 97.9 %, ranks 3 and 8 with only 89 %."""
    got = quantile(np.arange(1, 11), 0.5)
    assert (got.value, got.low, got.high) == (5.5, 2.0, 9.0)


def test_small_samples_have_open_ends() -> None:
    got = quantile([1.0, 2.0, 3.0], 0.5)
    assert (got.low, got.high) == (-math.inf, math.inf)
    assert math.isnan(quantile([], 0.5).value)


@pytest.mark.parametrize(("q", "n"), [(0.5, 20), (0.5, 61), (0.05, 80), (0.05, 200)])
def test_quantile_interval_coverage(q: float, n: int) -> None:
    """At least nominal for any law: exponential draws, whose quantile is -ln(1 - q)."""
    rng = np.random.default_rng(11)
    truth = -math.log1p(-q)
    hits = [(e := quantile(rng.exponential(size=n), q)).low <= truth <= e.high for _ in range(1500)]
    # 0.95 less three standard errors of 0.56 points
    assert np.mean(hits) >= 0.933


def test_paired_median_uses_the_pairs() -> None:
    rng = np.random.default_rng(2)
    luck = rng.normal(0, 10, 60)
    got = paired_median(luck + 1.0 + rng.normal(0, 0.1, 60), luck)
    assert got.low > 0.9
    assert got.high < 1.1
