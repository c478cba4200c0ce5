"""What a purchase rests on, which side is the worse, and what being wrong costs: by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from sim.compare.sides import PLAIN
from sim.decision.effect import PairedLimits
from sim.decision.obstacle_mix import Line
from sim.decision.regret import Regret
from sim.decision.reliance import props, told
from sim.decision.sides import sides_of
from sim.decision.unknowns import priors
from sim.errors import SimError
from sim.statistics.interval import Estimate


def line(name):
    return Line(name, 1.0, None, "deg", 0.25, 0.0, 75.0, 45.0, (25.0, 65.0))


def limits(*names):
    return PairedLimits(tuple(line(name) for name in names), ("a", "b"), np.zeros((2, len(names), 12)),
                        tuple(range(12)))


def test_a_gain_on_one_line_alone_hangs_on_it():
    points = np.array([np.full(12, 10.0), np.zeros(12)])
    rests = props(limits("climb", "descent"), points, ["steady"] * 12, 1.0)
    assert [(one.name, one.points) for one in rests] == [("climb", 0.0)]
    assert told(rests) == "it hangs on climb (+0.0 points without it)"
    assert props(limits("climb", "descent"), np.full((2, 12), 5.0), ["steady"] * 12, 1.0) == ()
    assert told(()) == ""


def test_a_driver_who_gains_nothing_is_named():
    drivers = ["steady", "patient"] * 6
    points = np.array([[12.0 if who == "steady" else 0.5 for who in drivers]] * 2)
    rests = props(limits("climb", "descent"), points, drivers, 1.0)
    assert [one.text for one in rests] == ["the driver (+0.5 points with the patient one)"]


def test_sides_count_only_where_ground_has_sides():
    even = np.arange(12) % 2 == 0
    points = np.array([np.where(even, 12.0, 0.0) + 0.01 * np.arange(12)] * 2)
    assert sides_of(limits("climb", "side-hill", "off-camber-ledge").lines) == ("uphill left", "uphill right")
    assert sides_of(limits("side-hill", "slab").lines) == PLAIN
    assert sides_of(limits("climb", "descent").lines) == ()
    rests = props(limits("side-hill", "climb"), points, ["steady"] * 12, 1.0)
    assert [one.name for one in rests] == ["uphill right"]
    assert props(limits("climb", "descent"), points, ["steady"] * 12, 1.0) == ()


def test_regret_of_a_normal_gain_has_its_closed_form():
    """E max(G, 0) of a normal gain: s (phi(m/s) + (m/s) Phi(m/s)); Raiffa & Schlaifer (1961), from memory."""
    mean, sd = 1.5, 2.0
    found = Regret.within(Estimate(mean, mean - 1.96 * sd, mean + 1.96 * sd), 1.0)
    z = mean / sd
    assert found.leaving == pytest.approx(sd * (norm.pdf(z) + z * norm.cdf(z)), rel=2e-3)
    assert found.doing == pytest.approx(sd * (norm.pdf(z) - z * norm.cdf(-z)), rel=5e-3)
    assert found.above == pytest.approx(norm.sf((1.0 - mean) / sd), abs=2e-3)
    assert "of leaving it: " in found.text()
    assert "money" not in found.text()
    # Above 1 point, E max(G - 1, 0), at 12 USD a point.
    z = (mean - 1.0) / sd
    assert found.beyond == pytest.approx(sd * (norm.pdf(z) + z * norm.cdf(z)), rel=2e-3)
    worth = float(f"{12.0 * found.beyond:.3g}")
    assert f"{worth:g} USD of gain forgone (a point counted at 12 USD)" in found.text(12.0, "USD")


def test_another_second_driver():
    from models.scenario import builds
    from models.sheet import load_sheet

    sheet = load_sheet(builds()[0])
    assert priors(sheet, "steady", None, "patient")[-1].choices == ("steady", "patient")
    assert priors(sheet, "patient", None, "patient")[-1].choices == ("patient", "bump")
    with pytest.raises(SimError, match="no such driver"):
        priors(sheet, "steady", None, "nobody")
