"""Priors, the trucks they make, and the surface fitted to what was driven."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from models.assemble import rigid_model
from models.configuration import configure
from models.scenario import builds
from models.sheet import load_sheet
from sim.decision.unknowns import Variants, altered, draws, driver, priors, values, varied
from sim.errors import SimError
from sim.statistics import shrinkage, surface
from sim.trial.truck import assemble

GUNDI = assemble(configure(load_sheet(builds()[0])))
SHEET = GUNDI.configuration.sheet


def test_measured_values_narrow_the_priors():
    wide = {one.name: one for one in priors(SHEET, "steady")}
    assert wide["damping"].sd == 25.0  # the sheet assumes the shocks' damping
    assert not wide["damping"].measured
    known = {one.name: one for one in priors(SHEET, "steady", {"damping": 5.0, "motor": 0.0})}
    assert known["damping"].sd == 5.0
    assert "motor" not in known
    assert wide["driver"].choices == ("steady", "bump")
    measured = SHEET.model_copy(update={"assumed": ()})
    assert {one.name: one.sd for one in priors(measured, "steady")}["damping"] == 10.0
    with pytest.raises(SimError, match="no such unknown"):
        priors(SHEET, "steady", {"colour": 1.0})


def test_draws_are_spread_evenly_and_drivers_are_balanced():
    some = priors(SHEET, "steady")
    points = draws(some, 64, seed=3)
    assert points.mean(axis=0)[:-1] == pytest.approx(np.zeros(len(some) - 1), abs=0.1)
    assert points.std(axis=0)[:-1] == pytest.approx(np.ones(len(some) - 1), abs=0.15)
    assert sorted(points[:, -1]).count(1.0) == 32
    assert {driver(some, point, "brisk") for point in points} == {"steady", "bump"}
    assert "driver" not in values(some, points[0])


def test_an_altered_truck_has_what_was_asked_for():
    model = rigid_model(SHEET)
    other = altered(model, {"grip": -20.0, "tyre stiffness": 30.0, "shock stiffness": 10.0, "damping": -50.0,
                            "height of the centre of gravity": 5.0, "motor": 25.0}, "0" * 16)
    assert other.tyres[0].grip == pytest.approx(0.8 * model.tyres[0].grip)
    assert other.tyres[3].law_force == pytest.approx(1.3 * model.tyres[3].law_force)
    assert other.shocks[0].rate == pytest.approx(1.1 * model.shocks[0].rate)
    assert other.shocks[0].damping == pytest.approx(0.5 * model.shocks[0].damping)
    assert other.cg()[2] == pytest.approx(1.05 * model.cg()[2])
    assert other.cg()[:2] == pytest.approx(model.cg()[:2])
    assert other.drive.resistance == pytest.approx(model.drive.resistance / 1.25)
    assert other.config_hash != model.config_hash


def test_variants_are_known_by_their_values_and_travel():
    case = {"grip": 5.0}
    made = pickle.loads(pickle.dumps(Variants({GUNDI.hash: GUNDI.model}, [case, {}])))  # noqa: S301 - our own bytes
    assert varied(GUNDI.hash, {}) == GUNDI.hash
    key = varied(GUNDI.hash, case)
    assert set(made) == {GUNDI.hash, key}
    assert made[key].tyres[0].grip == pytest.approx(1.05 * GUNDI.model.tyres[0].grip)
    assert varied(GUNDI.hash, {"grip": 6.0}) != key


def test_a_surface_returns_the_function_it_was_fitted_to_and_its_error():
    rng = np.random.default_rng(4)
    x = rng.standard_normal((40, 4))
    truth = 3.0 * x[:, 0] - 1.0 * x[:, 1] + 0.5 * x[:, 1] ** 2
    found = surface.fit(x, truth + 0.3 * rng.standard_normal(40), np.array([True] * 4))
    again = rng.standard_normal((500, 4))
    want = 3.0 * again[:, 0] - 1.0 * again[:, 1] + 0.5 * again[:, 1] ** 2
    assert np.sqrt(np.mean((found.at(again) - want) ** 2)) < 0.25
    assert found.noise == pytest.approx(0.3, rel=0.35)
    assert found.error == pytest.approx(0.35, rel=0.35)
    assert found.explained > 0.95
    draws_ = np.array([found.draws(again[:1], np.random.default_rng(k))[0] for k in range(400)])
    assert draws_.mean() == pytest.approx(found.at(again[:1])[0], abs=0.05)


def test_a_surface_of_nothing_but_noise_promises_nothing():
    rng = np.random.default_rng(5)
    x = rng.standard_normal((16, 7))
    found = surface.fit(x, rng.standard_normal(16), np.array([True] * 7))
    assert found.explained < 0.35
    assert np.std(found.at(rng.standard_normal((500, 7)))) < 0.7
    assert surface.fit(x, np.zeros(16), np.array([True] * 7)).at(x).tolist() == [0.0] * 16


def test_the_winner_is_brought_back_by_what_picking_adds():
    """Eight alike, standard error 1: the largest is some 1.4 too high; shrunk it is near nothing."""
    rng = np.random.default_rng(6)
    won, back = [], []
    for _ in range(400):
        gains = rng.standard_normal(8)
        won.append(gains.max())
        back.append(shrinkage.shrunk(gains, np.ones(8))[int(np.argmax(gains))])
    assert np.mean(won) == pytest.approx(1.42, abs=0.1)  # mean of the largest of eight normals: 1.4236 (tables)
    assert abs(np.mean(back)) < 0.45
    apart = np.array([10.0, 0.0, -10.0])
    assert shrinkage.shrunk(apart, np.full(3, 0.1)) == pytest.approx(apart, abs=0.01)


def test_first_places_add_up():
    rng = np.random.default_rng(7)
    sample = rng.standard_normal((3, 12)) + np.array([[5.0], [0.0], [0.0]])
    drawn = shrinkage.draws(sample)
    assert shrinkage.first_places(drawn, 1).sum() == pytest.approx(1.0)
    assert shrinkage.first_places(drawn, 2).sum() == pytest.approx(2.0)
    assert shrinkage.first_places(drawn, 1)[0] > 0.99
    assert drawn.mean(axis=0) == pytest.approx(sample.mean(axis=1), abs=0.02)


def test_runs_that_are_all_alike_leave_nothing_open() -> None:
    """Unknowns that move nothing: a surface without scatter gives itself back."""
    found = surface.fit(np.random.default_rng(1).normal(size=(12, 3)), np.zeros(12), np.ones(3, bool))
    assert np.all(found.draws(np.ones((5, 3)), np.random.default_rng(2)) == 0.0)
