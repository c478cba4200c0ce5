"""Common-slope fits against statsmodels, and Spearman-Karber against its closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.typing import NDArray

from sim.errors import SimError
from sim.statistics.quantal import Curve, LevelCounts, common_slope, spearman_karber

LEVELS = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
FIRST = LevelCounts(LEVELS, np.full(5, 12), np.array([12, 10, 6, 2, 0]))
SECOND = LevelCounts(LEVELS, np.full(5, 12), np.array([12, 12, 9, 6, 1]))


@pytest.mark.parametrize("curve", ["logit", "probit"])
def test_a_common_slope_is_the_library_s(curve: Curve) -> None:
    link = sm.families.links.Logit() if curve == "logit" else sm.families.links.Probit()
    x = np.tile(LEVELS, 2)
    which = np.repeat([0.0, 1.0], 5)
    clears = np.concatenate([FIRST.clears, SECOND.clears])
    design = np.column_stack([1.0 - which, which, x])
    fit = sm.GLM(np.column_stack([clears, 12 - clears]), design, family=sm.families.Binomial(link=link)).fit(tol=1e-12)
    a, b, s = (float(value) for value in fit.params)
    ours = common_slope(FIRST, SECOND, curve)
    assert ours.middles == pytest.approx((-a / s, -b / s), rel=1e-6)
    assert ours.spread == pytest.approx(-1.0 / s, rel=1e-6)
    gradient: NDArray[np.float64] = np.array([1.0 / s, -1.0 / s, (b - a) / s**2])
    error = float(np.sqrt(gradient @ fit.cov_params() @ gradient))
    # The library's information is the expected one, as ours.
    assert ours.interval[1] - ours.shift == pytest.approx(1.959964 * error, rel=1e-4)


def test_equal_groups_have_no_shift() -> None:
    same = common_slope(FIRST, FIRST)
    assert same.shift == pytest.approx(0.0, abs=1e-6)
    assert same.interval[0] < 0.0 < same.interval[1]


def test_a_clean_split_is_refused() -> None:
    split = LevelCounts(LEVELS, np.full(5, 12), np.array([12, 12, 12, 0, 0]))
    with pytest.raises(SimError, match="do not overlap"):
        common_slope(split, split)


def test_a_split_but_for_one_level_is_refused_unless_the_other_group_overlaps() -> None:
    # Of one mixed level between sure ones a step through it is the likeliest curve: its slope has no end, and the
    # interval from the likelihood's curvature was tens of thousands wide.
    almost = LevelCounts(LEVELS, np.full(5, 12), np.array([12, 12, 5, 0, 0]))
    later = LevelCounts(LEVELS, np.full(5, 12), np.array([12, 12, 12, 7, 0]))
    for curve in ("logit", "probit"):
        with pytest.raises(SimError, match="do not overlap"):
            common_slope(almost, later, curve)
    found = common_slope(FIRST, almost)
    assert np.all(np.isfinite(found.interval))
    assert found.interval[1] - found.interval[0] < 2.0 * np.ptp(LEVELS)


def test_spearman_karber_of_a_symmetric_fall_is_its_middle() -> None:
    mean, error = spearman_karber(LevelCounts(LEVELS, np.full(5, 11), np.array([11, 11, 5.5, 0, 0])))
    # One inner rate of a half, levels 10 apart: sqrt(0.25 / 10) x 10.
    assert mean == pytest.approx(30.0)
    assert error == pytest.approx(10.0 * np.sqrt(0.025))


def test_spearman_karber_pools_what_rises_and_needs_both_ends() -> None:
    pooled, _ = spearman_karber(LevelCounts(LEVELS, np.full(5, 10), np.array([10, 4, 6, 0, 0])))
    assert pooled == pytest.approx(spearman_karber(LevelCounts(LEVELS, np.full(5, 10), np.array([10, 5, 5, 0, 0])))[0])
    with pytest.raises(SimError, match="all to none"):
        spearman_karber(LevelCounts(LEVELS, np.full(5, 10), np.array([9, 5, 5, 0, 0])))
