"""Sequential looks: published constants, intervals by hand, and the error kept in simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sim.decision.effect import PairedLimits, effect
from sim.decision.judgement import plain
from sim.decision.obstacle_mix import Line
from sim.statistics.group_sequential import interval, level, looks, needed, rounding
from sim.statistics.interval import Estimate

LINES = tuple(Line(name, 1.0, None, "deg", 0.25, 0.0, 75.0, 45.0, (25.0, 65.0)) for name in ("climb", "descent"))


@pytest.mark.parametrize(("count", "nominal"), [(2, 0.0294), (3, 0.0221), (4, 0.0182), (5, 0.0158)])
def test_pocock_constants(count, nominal):
    """Nominal two-sided levels for 5 % in all: Pocock, Biometrika 64 (1977).

    By scipy's multivariate normal over the box of all looks: 0.02939, 0.02205, 0.01821, 0.01581.
    """
    many = tuple(1000 * (k + 1) for k in range(count))  # so many that t is normal, as the table has it
    # 200,000 null samples leave a standard error of about 1.5 % of the level.
    assert level(many) == pytest.approx(nominal, rel=0.045)


def test_one_look_spends_the_whole_error():
    assert level((12,)) == pytest.approx(0.05)
    assert level((12,), 3) == pytest.approx(1.0 - 0.95 ** (1 / 3))


def test_looks_end_with_the_most():
    assert looks(12) == (12,)
    assert looks(30) == (12, 18, 27, 30)


def test_interval_is_students():
    x = np.array([1.2, 0.4, 2.2, 1.0, 0.7])
    want = stats.ttest_1samp(x, 0.0).confidence_interval(0.95)
    assert (interval(x, 0.05).low, interval(x, 0.05).high) == pytest.approx((want.low, want.high))


def test_rounding_keeps_an_interval_open():
    # Two limits rounded to a step s each have variance s^2 / 12; their difference s^2 / 6.
    floor = rounding([1.0], [1.0])
    assert floor == pytest.approx(math.sqrt(1.0 / 6.0))
    assert interval(np.ones(6), 0.05, floor).low < 1.0 < interval(np.ones(6), 0.05, floor).high
    assert interval([2.0], 0.05).high == math.inf


def test_pairs_needed_for_a_medium_effect():
    """d = 0.5, two-sided 5 %, power 80 %: 33.4 pairs by statsmodels (TTestPower)."""
    assert needed(1.0, 2.0, 0.05) == 34
    assert needed(0.0, 2.0, 0.05, most=500) == 500
    assert needed(1e-9, 2.0, 0.05, most=500) == 500


def _study(rng, gain, sizes, own_level, spread, least=1.0):
    """One whole sequential study of two made-up trucks; ``gain`` in points is that of both lines alike."""
    n = sizes[-1]
    base = 45.0 + spread * rng.standard_normal((2, n))
    changed = 45.0 + 0.4 * gain + spread * rng.standard_normal((2, n))  # 40 degrees are 100 points
    made = None
    for size in sizes:
        limit = np.stack([np.round(4 * base[:, :size]) / 4 + 0.125, np.round(4 * changed[:, :size]) / 4 + 0.125])
        made = effect(PairedLimits(LINES, ("base", "changed"), limit), "changed", own_level)
        if plain(made.gain, least) != "not decided":
            break
    return made


def test_alike_trucks_are_called_worth_it_at_most_once_in_forty():
    """A gain of nothing: the lower bound clears zero in at most half of 5 %, all looks together."""
    rng = np.random.default_rng(7)
    sizes = looks(40)
    own = level(sizes)
    studies = [_study(rng, 0.0, sizes, own, 2.0, least=0.0) for _ in range(1500)]
    false = np.mean([made.gain.low > 0.0 for made in studies])
    # 1500 studies: a standard error of 0.4 points about 2.5 %; three of them above.
    assert false <= 0.025 + 3 * 0.004
    assert false >= 0.005  # the plan does not waste its error either


def test_every_line_keeps_its_own_promise():
    rng = np.random.default_rng(8)
    sizes = looks(40)
    studies = [_study(rng, 0.0, sizes, level(sizes), 2.0) for _ in range(800)]
    assert np.mean([any(one.shown for one in made.by_line) for made in studies]) <= 0.05 + 3 * 0.0077


def test_a_known_difference_is_shown_with_the_planned_power():
    """The number of repeats that is asked for tells the gain from nothing four times in five."""
    rng = np.random.default_rng(9)
    spread, gain = 2.0, 2.5
    # Of the gain: the mean of two lines' differences of two limits each, in points of a range of 40 degrees.
    own = math.sqrt(2 * spread**2 / 2.0) / 40.0 * 100.0
    n = needed(gain, own, 0.05)
    shown = np.mean([_study(rng, gain, (n,), 0.05, spread).gain.low > 0.0 for _ in range(1200)])
    assert shown == pytest.approx(0.8, abs=3 * 0.0115 + 0.02)  # a count is whole, the spread is estimated


def test_intervals_cover_the_truth_over_all_looks():
    rng = np.random.default_rng(10)
    sizes = looks(40)
    own = level(sizes)
    held = [m.gain.low <= 3.0 <= m.gain.high for m in (_study(rng, 3.0, sizes, own, 2.0) for _ in range(1000))]
    assert np.mean(held) >= 0.95 - 3 * 0.0069


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [(1.5, 4.0, "worth it"), (-4.0, -0.5, "not worth it"), (-3.0, 5.0, "not decided"), (-0.5, 0.8, "practically equal"),
     (0.1, 0.9, "practically equal"), (0.5, 4.0, "not decided")],
)
def test_words_follow_the_interval(low, high, word):
    assert plain(Estimate(0.5 * (low + high), low, high), least=1.0) == word


def test_identical_trials_say_no_difference():
    limit = np.stack([np.full((2, 12), 45.125)] * 2)
    made = effect(PairedLimits(LINES, ("a", "b"), limit), "b", 0.05)
    assert made.gain.value == 0.0
    assert made.gain.low < 0.0 < made.gain.high
    assert plain(made.gain, 1.0) == "practically equal"
    assert all(one.shown == 0 for one in made.by_line)


def test_contributions_add_up_and_a_line_left_out_is_left_out():
    rng = np.random.default_rng(11)
    limit = 45.0 + rng.standard_normal((2, 2, 20)) + np.array([[[0.0], [0.0]], [[8.0], [-2.0]]])
    made = effect(PairedLimits(LINES, ("a", "b"), limit), "b", 0.05)
    assert sum(one.contribution.value for one in made.by_line) == pytest.approx(made.gain.value)
    assert made.without[0].value == pytest.approx(2.0 * made.by_line[1].contribution.value)
    assert made.by_line[0].contribution.value == pytest.approx(0.5 * made.by_line[0].shift.value / 40.0 * 100.0)
