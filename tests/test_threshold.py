"""The adaptive limit: against published fits, and how close and how honest it is in simulation."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import expit, logit

from sim.errors import SimError
from sim.statistics.threshold import Array, Belief, choose
from sim.statistics.two_groups import two_groups


def search(
    middle: float, spread: float, lapse: float, rng: np.random.Generator, *, trials: int = 60, at_once: int = 2
) -> Belief:
    """One search between 10 and 60 on a simulated truck."""
    levels = np.linspace(10, 60, 101)
    belief = Belief.start(10, 60)
    while len(belief.trials) < trials:
        for level in choose(belief, levels, at_once):
            chance = (1 - lapse) * expit(-(level - middle) / spread)
            belief = belief.after(level, bool(rng.random() < chance))
    return belief


def truth(middle: float, spread: float, lapse: float, share: float) -> float:
    """Level that the simulated truck clears with that share."""
    return float(middle - spread * logit(share / (1 - lapse))) if share < 1 - lapse else -math.inf


def test_posterior_against_a_published_logistic_fit() -> None:
    """Insecticide data of Bliss as fitted by Faraway, Extending the Linear Model with R (2006): ED50 = 2.000, se 0.178.

    Doses 0 to 4, of 30 each; a dose kills as a level defeats. Prior and lapse may move the median by a fraction of se.
    """
    belief = Belief.start(-1, 5)
    for dose, dead in enumerate([2, 8, 15, 23, 27]):
        for number in range(30):
            belief = belief.after(dose, number >= dead)
    found = belief.limit(0.5)
    assert found.value == pytest.approx(2.0, abs=0.05)
    assert 0.5 * (found.high - found.low) == pytest.approx(1.96 * 0.178, rel=0.15)
    # Fitted shares of the same source, logit link
    fitted = [0.9108, 0.7617, 0.5, 0.2383, 0.0892]
    assert [e.value for e in belief.curve([0, 1, 2, 3, 4])] == pytest.approx(fitted, abs=0.03)
    assert not belief.doubtful


def test_first_choice_is_in_the_middle() -> None:
    assert choose(Belief.start(10, 60), np.linspace(10, 60, 101))[0] == pytest.approx(35, abs=5)


def test_within_three_percent_in_sixty_trials() -> None:
    """Median error of the 50 % level for a truck whose band from 75 % to 25 % is a tenth of its limit."""
    rng = np.random.default_rng(6)
    errors = [abs(search(30, 1.4, 0.02, rng).limit(0.5).value / truth(30, 1.4, 0.02, 0.5) - 1) for _ in range(9)]
    assert np.median(errors) <= 0.03


@pytest.mark.slow
@pytest.mark.parametrize(
    ("middle", "spread", "lapse"), [(30, 1.0, 0.0), (30, 2.0, 0.03), (22, 1.5, 0.05), (48, 3.0, 0.01)]
)
def test_error_and_coverage(middle: float, spread: float, lapse: float) -> None:
    """150 searches of 60 trials: median error at most 3 %, and 95 % intervals that hold the truth at least 90 %.

    Standard error of a coverage of 95 % at 150 searches is 1.8 points.
    """
    rng = np.random.default_rng(7)
    searches = [search(middle, spread, lapse, rng) for _ in range(80)]
    half, ninety = (truth(middle, spread, lapse, share) for share in (0.5, 0.9))
    errors = [abs(b.limit(0.5).value / half - 1) for b in searches]
    print(f"\nlimit {half:.1f}, lapse {lapse}: median error {100 * float(np.median(errors)):.2f} %")
    assert np.median(errors) <= 0.03
    for share, level in ((0.5, half), (0.9, ninety)):
        hits = [e.low <= level <= e.high for e in (b.limit(share) for b in searches)]
        print(f"  level cleared by {100 * share:.0f} %: interval right in {100 * float(np.mean(hits)):.1f} %")
        assert np.mean(hits) >= 0.90
    assert np.mean([b.doubtful for b in searches]) <= 0.08


def test_a_limit_out_of_range_has_an_open_end() -> None:
    rng = np.random.default_rng(1)
    above = search(90, 1.5, 0.0, rng, trials=24).limit(0.5)
    assert above.high == math.inf
    assert above.low > 50
    below = search(-20, 1.5, 0.0, rng, trials=24).limit(0.5)
    assert below.low == -math.inf


def test_trials_that_no_such_curve_explains_raise_doubt() -> None:
    belief = Belief.start(10, 60)
    for level in (20.0, 30.0, 40.0, 50.0):
        for _ in range(12):
            belief = belief.after(level, cleared=level in (20.0, 50.0))
    assert belief.doubtful


def test_belief_does_not_change_in_place() -> None:
    start = Belief.start(10, 60)
    before = start.weight.copy()
    start.after(30, True)
    np.testing.assert_array_equal(start.weight, before)
    assert start.fit() == 1.0


def test_more_trials_narrow_the_interval() -> None:
    rng = np.random.default_rng(5)
    short, long = search(30, 2, 0, rng, trials=20).limit(0.5), search(30, 2, 0, rng, trials=80).limit(0.5)
    assert long.half_width < short.half_width


def test_reversed_range_is_refused() -> None:
    with pytest.raises(SimError, match="hard end"):
        Belief.start(30, 30)


def _tried(
    chance: Callable[[Array], Array], rng: np.random.Generator, each: int = 12
) -> tuple[list[float], list[int], list[int]]:
    levels = np.arange(10.0, 61.0, 5.0)
    n = np.full(len(levels), each)
    return levels.tolist(), n.tolist(), rng.binomial(n, chance(levels)).tolist()


@pytest.mark.slow
def test_two_groups_are_seen_and_told() -> None:
    """Four in ten hang up near 20, the rest get to 45: seen in nearly every store of 132 trials."""
    rng = np.random.default_rng(3)
    found = [two_groups(*_tried(lambda x: 0.4 * expit(20 - x) + 0.6 * expit(45 - x), rng)) for _ in range(10)]
    assert sum(one is not None and one.shown for one in found) >= 8
    first = found[0]
    assert first is not None
    assert first.early == pytest.approx(20, abs=4)
    assert first.late == pytest.approx(45, abs=4)
    assert first.share == pytest.approx(0.4, abs=0.15)
    assert first.half.low <= 45 - math.log(5) <= first.half.high  # 0.6 of the late group's curve is a half


@pytest.mark.slow
def test_one_limit_is_seldom_called_two_groups() -> None:
    """At the stated 2 %: of 80 stores of one logistic about two; 3 binomial deviations above are five."""
    rng = np.random.default_rng(4)
    found = [two_groups(*_tried(lambda x: expit((35 - x) / 4.0), rng)) for _ in range(80)]
    assert sum(one is not None and one.shown for one in found) <= 5


def test_few_trials_are_not_asked() -> None:
    assert two_groups([10, 20, 30, 40], [4, 4, 4, 4], [4, 3, 1, 0]) is None
    assert two_groups([10, 20, 30, 40], [9, 9, 9, 9], [0, 0, 0, 0]) is None
