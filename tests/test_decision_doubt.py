"""Unknowns ranked on functions whose effects are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from models.assemble import rigid_model
from models.configuration import configure
from models.scenario import builds
from models.sheet import load_sheet
from sim.decision.doubt import DRIVERS, USUAL, Unknown, altered, analyse, cast, design, driver_of, sentence, variant
from sim.trial.truck import assemble

A, B, C = (Unknown(name, -10.0, 10.0, "%", f"measure {name}") for name in "abc")


def test_elementary_effects_of_a_plane():
    # f = 3 + a / 2 + b / 10: over ranges of 20 the effects are 10, 2 and 0, whatever the start.
    points = design((A, B, C), 6, seed=1)
    found = analyse((A, B, C), points, 3.0 + points[:, 0] / 2.0 + points[:, 1] / 10.0, nominal=3.0)
    strength = {one.unknown.name: one.strength for one in found.influences}
    assert strength == pytest.approx({"a": 10.0, "b": 2.0, "c": 0.0}, abs=1e-9)
    assert [one.unknown.name for one in found.influences] == ["a", "b", "c"]


def test_where_the_verdict_flips():
    points = design((A, B, C), 6, seed=1)
    found = analyse((A, B, C), points, 3.0 + points[:, 0] / 2.0 + points[:, 1] / 10.0, nominal=3.0)
    (one,) = found.could_flip
    assert one.unknown is A
    assert one.flips_at == pytest.approx(-6.0)  # 3 + a / 2 = 0
    said = sentence(found, stated=False)
    assert "a (near -6 %)" in said
    assert "measure a" in said
    assert found.flipped == pytest.approx(np.mean(found.scores < 0))


def test_a_verdict_that_nothing_flips():
    points = design((A, B), 4, seed=2)
    found = analyse((A, B), points, 50.0 + points[:, 0], nominal=50.0)
    assert found.could_flip == ()
    assert sentence(found, stated=True).startswith("Nothing looked at flips it")


def test_ishigami_ranks_as_published():
    """Ishigami & Homma (1990), a = 7, b = 0.1: total indices 0.558, 0.442, 0.244 (from memory)."""
    angles = tuple(Unknown(f"x{k}", -math.pi, math.pi, "rad", "") for k in (1, 2, 3))
    points = design(angles, 400, seed=3)
    x = points.T
    y = np.sin(x[0]) + 7.0 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])
    found = analyse(angles, points, y, nominal=1.0)
    strength = {one.unknown.name: one.strength for one in found.influences}
    # Elementary effects see x3 act through x1 alone, and all three act.
    assert strength["x1"] > strength["x3"] > 0.0
    assert strength["x2"] > 0.0


GUNDI = assemble(configure(load_sheet(builds()[0])))


def test_an_altered_truck_has_what_was_asked_for():
    model = rigid_model(GUNDI.configuration.sheet)
    values = {"grip": -20.0, "tyre stiffness": 30.0, "shock stiffness": 10.0, "height of the centre of gravity": 5.0}
    other = altered(model, values, "0" * 24)
    assert other.tyres[0].grip == pytest.approx(0.8 * model.tyres[0].grip)
    assert other.tyres[3].law_force == pytest.approx(1.3 * model.tyres[3].law_force)
    assert other.shocks[0].rate == pytest.approx(1.1 * model.shocks[0].rate)
    assert other.cg()[2] == pytest.approx(1.05 * model.cg()[2])
    assert other.cg()[:2] == pytest.approx(model.cg()[:2])
    assert other.config_hash != model.config_hash


def test_variants_are_known_by_their_values():
    one, same = variant(GUNDI, {"grip": 5.0}), variant(GUNDI, {"grip": 5.0, "driver": 0.7})
    assert one.hash == same.hash != variant(GUNDI, {"grip": 6.0}).hash
    points = design(USUAL, 2, seed=1)
    hashes = [truck.hash for truck in cast(GUNDI, variant(GUNDI, {"grip": 1.0}), USUAL, points)]
    assert hashes[0] == GUNDI.hash
    assert len(hashes) == len(set(hashes))


def test_the_driver_is_one_of_those_named():
    assert [driver_of({"driver": v}, "x") for v in (0.0, 1 / 3 + 1e-9, 1.0)] == list(DRIVERS)
    assert driver_of({}, "bump") == "bump"
