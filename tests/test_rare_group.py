"""A mean over two groups, against the closed form of a share's score interval."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from sim.statistics.group_sequential import interval, part, wary
from sim.statistics.rare_group import split, unseen


def groups(low, high):
    return np.array([0.0] * low + [10.0] * high)


@given(low=st.integers(1, 20), high=st.integers(1, 20), seed=st.integers(0, 99))
@settings(max_examples=60, deadline=None)
def test_the_best_split_is_the_one_of_least_squares(low, high, seed):
    x = groups(low, high) + np.random.default_rng(seed).normal(0.0, 0.3, low + high)
    if len(x) < 3:
        return
    found, ordered = split(x), np.sort(x)
    every = [((ordered[:k] - ordered[:k].mean()) ** 2).sum() + ((ordered[k:] - ordered[k:].mean()) ** 2).sum()
             for k in range(1, len(x))]
    assert found.within == pytest.approx(np.sqrt(min(every) / (len(x) - 2)), abs=1e-6)
    assert found.below == 1 + int(np.argmin(every))


def test_groups_that_do_not_scatter_leave_the_share_alone():
    """4 of 12 at 0, the rest at 10: the mean is 10 times the share above, whose score interval statsmodels gives. The
    end towards zero is Student's where that is further out."""
    x = groups(4, 8)
    low, high = proportion_confint(8, 12, method="wilson")
    found = wary(x, 0.05)
    assert found.high == pytest.approx(10.0 * high, rel=1e-9)
    assert found.low == pytest.approx(min(10.0 * low, interval(x, 0.05).low), rel=1e-9)
    assert wary(-x, 0.05).low == pytest.approx(-found.high)


def test_one_repeat_apart_leaves_room_for_the_others_mean():
    found = wary(groups(1, 11), 0.05)
    assert found.high == pytest.approx(10.0)
    assert found.low < 10.0 * proportion_confint(11, 12, method="wilson")[0] + 1e-9


def test_repeats_of_one_kind_leave_room_for_another_that_was_not_met():
    """Score interval of 0 in n: z^2 / (n + z^2)."""
    assert unseen(12, 0.05) == pytest.approx(1.959964**2 / (12 + 1.959964**2), rel=1e-6)
    x = 10.0 + 0.01 * np.sin(np.arange(12))
    assert wary(x, 0.05).low == pytest.approx(10.0 * (1.0 - unseen(12, 0.05)), rel=1e-3)
    assert wary(x, 0.05).high == pytest.approx(10.0, abs=0.02)


@given(seed=st.integers(0, 300), rare=st.floats(0.02, 0.5))
@settings(max_examples=80, deadline=None)
def test_zero_is_left_out_only_where_student_leaves_it_out_if_groups_lie_apart(seed, rare):
    rng = np.random.default_rng(seed)
    x = 1.0 * (rng.random(12) < rare) - 1.0 * (rng.random(12) < rare) + rng.normal(0.0, 0.05, 12)
    found, plain = wary(x, 0.05), interval(x, 0.05)
    if split(x).apart and (found.low > 0.0 or found.high < 0.0):
        assert plain.low > 0.0 or plain.high < 0.0


def test_rounding_makes_no_groups():
    """Limits on steps of a quarter: eleven alike and one a step off are one scatter if the step is told."""
    x = np.array([1.0] * 11 + [0.75])
    assert split(x).apart
    assert not split(x, 0.25 / np.sqrt(6.0)).apart


def test_a_part_scatters_as_the_whole_does() -> None:
    """Six of twelve: the interval of all twelve about their own parts' means, longer by the root of two."""
    x = np.random.default_rng(5).normal(3.0, 1.0, 12)
    here = np.arange(12) % 2 == 0
    found = part(x, here, 0.05)
    assert found.value == pytest.approx(x[here].mean())
    other = x + np.where(here, 0.0, 100.0)  # where the other part lies is nothing to this one
    assert part(other, here, 0.05).low == pytest.approx(found.low)
    level = np.where(here, x, x - x[~here].mean() + found.value)
    assert found.half_width == pytest.approx(np.sqrt(2.0) * wary(level, 0.05).half_width)
