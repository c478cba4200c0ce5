"""Sequential looks: published constants, intervals by hand, and the error kept in simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sim.decision.effect import Table, effect, judge
from sim.decision.obstacle_mix import Line
from sim.statistics.group_sequential import interval, level, looks, needed, p_value, rounding
from sim.statistics.interval import Estimate

LINES = tuple(Line(name, 1.0, None, "deg", 1.0, 0.0, 75.0, 45.0) for name in ("climb", "descent"))


@pytest.mark.parametrize(("count", "nominal"), [(2, 0.0294), (3, 0.0221), (4, 0.0182), (5, 0.0158)])
def test_pocock_constants(count, nominal):
    """Nominal two-sided levels for 5 % in all: Pocock, Biometrika 64 (1977), table 1 (from memory)."""
    many = tuple(1000 * (k + 1) for k in range(count))  # so many that t is normal, as the table has it
    # 200,000 null samples leave a standard error of about 1.5 % of the level.
    assert level(many) == pytest.approx(nominal, rel=0.045)


def test_one_look_spends_the_whole_error():
    assert level((12,)) == pytest.approx(0.05)
    assert level((12,), 3) == pytest.approx(1.0 - 0.95 ** (1 / 3))


def test_looks_end_with_the_most():
    assert looks(12) == (5, 8, 12)
    assert looks(30) == (5, 8, 12, 18, 27, 30)
    assert looks(5) == (5,)


def test_interval_is_students():
    x = np.array([1.2, 0.4, 2.2, 1.0, 0.7])
    want = stats.ttest_1samp(x, 0.0).confidence_interval(0.95)
    assert (interval(x, 0.05).low, interval(x, 0.05).high) == pytest.approx((want.low, want.high))
    assert p_value(x) == pytest.approx(stats.ttest_1samp(x, 0.0).pvalue)


def test_rounding_keeps_an_interval_open():
    # Two limits rounded to a step s each have variance s^2 / 12; their difference s^2 / 6.
    floor = rounding([1.0], [1.0])
    assert floor == pytest.approx(math.sqrt(1.0 / 6.0))
    assert interval(np.ones(6), 0.05, floor).low < 1.0 < interval(np.ones(6), 0.05, floor).high
    assert interval([2.0], 0.05).high == math.inf


def test_pairs_needed_for_a_medium_effect():
    """d = 0.5, two-sided 5 %, power 80 %: 34 pairs. Cohen (1988), table 2.4.1 (from memory)."""
    assert needed(1.0, 2.0, 0.05) == 34
    assert needed(0.0, 2.0, 0.05, most=500) == 500
    assert needed(1e-9, 2.0, 0.05, most=500) == 500


def _study(rng, gain_percent, sizes, own_level, spread):
    """One whole sequential study of two made-up trucks; returns the last effect."""
    n = sizes[-1]
    base = 45.0 + spread * rng.standard_normal((2, n))
    changed = 45.0 * (1.0 + gain_percent / 100.0) + spread * rng.standard_normal((2, n))
    made = None
    for size in sizes:
        limit = np.stack([np.round(base[:, :size]) + 0.5, np.round(changed[:, :size]) + 0.5])
        made = effect(Table(LINES, ("base", "changed"), limit), "changed", own_level)
        if made.word != "not shown":
            break
    return made


@pytest.fixture
def no_planning(monkeypatch):
    """Studies by the thousand need no count of further repeats."""
    monkeypatch.setattr("sim.statistics.group_sequential.needed", lambda *_: 1)


@pytest.mark.usefixtures("no_planning")
def test_identical_trucks_are_called_different_at_most_once_in_twenty():
    rng = np.random.default_rng(7)
    sizes = looks(12)
    own = level(sizes)
    studies = [_study(rng, 0.0, sizes, own, 2.0) for _ in range(1500)]
    false = np.mean([made.score.low > 0.0 or made.score.high < 0.0 for made in studies])
    # 1500 studies: a standard error of 0.56 points about 5 %; three of them above.
    assert false <= 0.05 + 3 * 0.0056
    assert false >= 0.02  # the plan does not waste its error either


@pytest.mark.usefixtures("no_planning")
def test_every_line_keeps_its_own_promise():
    rng = np.random.default_rng(8)
    sizes = looks(12)
    studies = [_study(rng, 0.0, sizes, level(sizes), 2.0) for _ in range(800)]
    assert np.mean([any(one.shown for one in made.by_line) for made in studies]) <= 0.05 + 3 * 0.0077


def test_a_known_difference_is_shown_with_the_planned_power(monkeypatch):
    """The number of repeats that is asked for shows the difference four times in five."""
    rng = np.random.default_rng(9)
    spread, gain = 2.0, 3.0
    # Of the score: the mean of two lines' log ratios of two rounded limits each.
    own = math.sqrt((2 * spread**2 + 1.0 / 6.0) / 2.0) / 45.0 * 100.0
    n = needed(100.0 * math.log1p(gain / 100.0), own, 0.05)
    monkeypatch.setattr("sim.statistics.group_sequential.needed", lambda *_: 1)
    shown = np.mean([_study(rng, gain, (n,), 0.05, spread).score.low > 0.0 for _ in range(1200)])
    assert shown == pytest.approx(0.8, abs=3 * 0.0115 + 0.02)  # a count is whole, the spread is estimated


@pytest.mark.usefixtures("no_planning")
def test_intervals_cover_the_truth_over_all_looks():
    rng = np.random.default_rng(10)
    sizes = looks(12)
    own = level(sizes)
    held = [m.score.low <= 3.0 <= m.score.high for m in (_study(rng, 3.0, sizes, own, 2.0) for _ in range(1000))]
    assert np.mean(held) >= 0.95 - 3 * 0.0069


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [(0.5, 4.0, "worth it"), (-4.0, -0.5, "not worth it"), (-3.0, 5.0, "not shown"), (-0.5, 0.8, "not worth it"),
     (0.1, 0.9, "not worth it")],
)
def test_words_follow_the_interval(low, high, word):
    assert judge(Estimate(0.5 * (low + high), low, high), least=1.0) == word


def test_identical_trials_say_no_difference():
    limit = np.stack([np.full((2, 5), 45.5)] * 2)
    made = effect(Table(LINES, ("a", "b"), limit), "b", 0.05, least=5.0)
    assert made.score.value == 0.0
    assert made.score.low < 0.0 < made.score.high
    assert all(one.shown == 0 for one in made.by_line)


def test_twice_and_half_weigh_alike():
    base = np.full((2, 4), 20.0)
    limit = np.stack([base, base * np.array([[2.0], [0.5]])])
    assert Table(LINES, ("a", "b"), limit).score("b") == pytest.approx(np.zeros(4))
