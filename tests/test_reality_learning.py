"""Learning grip and skill: curves through simulated trials, the posterior's coverage, lines left out, verdicts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from scipy.stats import binom

from sim.reality.observed import Tried
from sim.reality.posterior import GRIP_DOUBT, SKILL_DOUBT, SPREAD_DOUBT, Posterior
from sim.reality.response import Response, response
from sim.reality.verdict import compare


def cell(line: str, k: int, n: int, surface: str = "slate", config: str = "a") -> Tried:
    return Tried(line, "ledge", 20.0, surface, config, config, k, n)


def exact(level: float, slope: float) -> Response:
    """A curve known without doubt."""
    return Response(level, slope, np.zeros((2, 2)), 1000)


def test_curve_agrees_with_a_statistics_library_where_the_prior_is_weak() -> None:
    grips = np.array([0.7, 0.85, 1.0, 1.15, 1.3])
    n = np.full(5, 4000)
    k = np.array([400, 1100, 2100, 2900, 3500])
    design = sm.add_constant(np.log(grips))
    theirs = sm.GLM(np.column_stack([k, n - k]), design, family=sm.families.Binomial()).fit()
    ours = response(list(grips), list(k), list(n))
    # 20 000 trials leave the priors a ten-thousandth of the say.
    assert (ours.level, ours.slope) == pytest.approx(theirs.params, rel=1e-3, abs=1e-3)
    assert np.sqrt(np.diag(ours.covariance)) == pytest.approx(theirs.bse, rel=1e-3)


@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=1, max_size=6))
def test_curve_is_finite_whatever_the_counts(counts: list[tuple[int, int]]) -> None:
    grips = np.linspace(0.7, 1.3, len(counts))
    found = response(list(grips), [k for k, _ in counts], [k + m for k, m in counts])
    assert np.isfinite([found.level, found.slope]).all()
    assert np.linalg.eigvalsh(found.covariance).min() > 0.0
    assert 0.0 < found.chance(1.0) < 1.0


def test_doubt_draws_a_curve_towards_even_odds() -> None:
    few = response([0.8, 1.0, 1.2], [3, 3, 3], [3, 3, 3])
    many = response([0.8, 1.0, 1.2], [300, 300, 300], [300, 300, 300])
    assert 0.5 < few.chance(1.0) < many.chance(1.0)


def made_up(rng: np.random.Generator, lines: int, tries: int) -> tuple[list[Tried], list[Response], dict[str, float]]:
    """A log drawn from the model itself, with its truth."""
    truth = {
        "slate": GRIP_DOUBT * float(rng.standard_normal()), "sand": GRIP_DOUBT * float(rng.standard_normal()),
        "skill": SKILL_DOUBT * float(rng.standard_normal()),
    }  # fmt: skip
    spread = SPREAD_DOUBT * abs(float(rng.standard_normal()))
    cells, curves = [], []
    for n in range(lines):
        curve = exact(float(rng.normal(0.5, 1.5)), float(rng.choice([0.0, 10.0, 25.0])))
        surface = ("slate", "sand")[n % 2]
        odds = curve.level + curve.slope * truth[surface] + truth["skill"] + spread * float(rng.standard_normal())
        cells.append(cell(f"line {n}", int(rng.binomial(tries, expit(odds))), tries, surface))
        curves.append(curve)
    return cells, curves, truth


def test_grip_and_skill_are_covered_at_the_nominal_rate() -> None:
    rng = np.random.default_rng(11)
    n, hits, widths = 60, {"slate": 0, "sand": 0, "skill": 0}, []
    for _ in range(n):
        cells, curves, truth = made_up(rng, 8, 5)
        posterior = Posterior(cells, curves, (41, 41))
        marginals = {**posterior.grip, "skill": posterior.driver}
        for name, value in truth.items():
            low, high = marginals[name].interval(0.9)
            hits[name] += low <= value <= high
        widths.append(posterior.driver.learned)
    for name, count in hits.items():
        # Between what a 90 % interval gives by accident, 1 in 1000 either way.
        assert binom.ppf(1e-3, n, 0.9) <= count <= binom.ppf(1 - 1e-3, n, 0.9), (name, count)
    assert np.mean(widths) > 0.3


def test_posterior_agrees_with_brute_force() -> None:
    cells = [cell("a", 4, 5), cell("a", 2, 5, config="b"), cell("b", 1, 4)]
    curves = [exact(0.5, 12.0), exact(-0.5, 12.0), exact(0.0, 0.0)]
    rng = np.random.default_rng(3)
    m = 400_000
    grip, skill = GRIP_DOUBT * rng.standard_normal(m), SKILL_DOUBT * rng.standard_normal(m)
    spreads = Posterior(cells, curves).spread
    tau = rng.choice(spreads.grid, m, p=spreads.prior)
    odd = tau[:, None] * rng.standard_normal((m, 2))
    log = np.zeros(m)
    for one, curve, line in zip(cells, curves, (0, 0, 1), strict=True):
        eta = curve.level + curve.slope * grip + skill + odd[:, line]
        log += one.successes * eta - one.tries * np.logaddexp(0.0, eta)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    found = Posterior(cells, curves)
    # Importance sampling: about 1 / sqrt(effective draws) = .005 standard deviations.
    assert found.grip["slate"].mean == pytest.approx(float(weight @ grip), abs=0.004)
    assert found.driver.mean == pytest.approx(float(weight @ skill), abs=0.02)
    chance = expit(curves[2].level + skill + tau * rng.standard_normal(m))
    assert found.foretell(2, without_line=False)[0] == pytest.approx(float(weight @ chance), abs=0.01)
    own = expit(curves[2].level + skill + odd[:, 1])
    assert found.settled(2)[0] == pytest.approx(float(weight @ own), abs=0.01)


def test_a_line_left_out_is_foretold_without_its_tries() -> None:
    cells = [cell("a", 5, 5), cell("b", 5, 5), cell("c", 0, 20)]
    curves = [exact(0.0, 5.0)] * 3
    found = Posterior(cells, curves)
    without = Posterior(cells[:2], curves[:2])
    again = replace(cells[2], successes=0, tries=0)
    alone = Posterior([*cells[:2], again], curves)
    assert found.foretell(2, without_line=True) == pytest.approx(alone.foretell(2, without_line=False), abs=1e-9)
    assert found.foretell(0, without_line=True)[0] < without.foretell(0, without_line=True)[0]
    # None of twenty is odd beside ten of ten.
    assert found.tail(2) < 0.05
    assert found.settled(2)[0] < 0.15


def test_nothing_tried_leaves_the_priors() -> None:
    found = Posterior([cell("a", 0, 0)], [exact(0.0, 10.0)])
    assert found.driver.mean == pytest.approx(0.0, abs=1e-9)
    assert found.driver.learned == pytest.approx(0.0, abs=1e-9)
    assert found.grip["slate"].prior_spread == pytest.approx(GRIP_DOUBT, rel=0.01)
    assert found.faults() == []


def test_a_grid_that_is_too_narrow_is_reported() -> None:
    # A driver who clears fifty lines that nobody should clear.
    cells = [cell(f"l{n}", 10, 10) for n in range(50)]
    assert any("end of its grid" in fault for fault in Posterior(cells, [exact(-5.0, 0.0)] * 50, (21, 21)).faults())


def test_too_few_tries_conclude_nothing() -> None:
    found = compare([cell("a", 3, 3), cell("b", 0, 3)], [exact(0.0, 5.0)] * 2)
    assert not found.enough
    assert "Too few to conclude" in found.conclusions[0]
    one = compare([cell("a", 3, 3)], [exact(0.0, 5.0)])
    assert any("One line says nothing" in text for text in one.conclusions)
    assert any("not checked" in text for text in one.conclusions)


def test_a_pessimistic_simulation_is_told_and_learning_helps() -> None:
    rng = np.random.default_rng(8)
    cells, curves = [], []
    for n in range(12):
        level = float(rng.uniform(-2.0, 0.5))
        cells.append(cell(f"line {n}", int(rng.binomial(10, expit(level + 1.6))), 10))
        curves.append(exact(level, 3.0))
    found = compare(cells, curves)
    assert found.enough
    assert found.gap.low > 0.0
    assert "pessimistic" in found.conclusions[0]
    assert found.better.value > 0.0
    raw, learned, base = found.grades
    assert learned.log_score < raw.log_score
    assert learned.brier.score < base.brier.score
    assert math.exp(found.posterior.driver.mean) > 2.0


def test_a_line_to_come_is_foretold_but_not_scored() -> None:
    found = compare([cell("a", 3, 5), cell("b", 2, 5), cell("to come", 0, 0)], [exact(0.0, 5.0)] * 3)
    assert [o.tried.line for o in found.ahead] == ["to come"]
    assert len(found.outlooks) == 2
    low, high = found.ahead[0].settled[1:]
    assert 0.0 < low < high < 1.0
