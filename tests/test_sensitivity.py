"""What assumed values do to the angles, against sampling and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from models import scenario
from models.answers import answers_of
from models.defaults import resolve
from models.record import validated
from models.sensitivity import ALSO, ANGLES, SCALE_SHARE, assumed_values, doubts, results, shifted
from models.sheet import load_sheet
from models.short import filled
from models.spec import Sheet
from models.start import start

ANSWERS = {"scale": 24, "wheelbase": 140, "track": 82, "tyre_diameter": 56, "tyre_width": 21, "mass": 402, "front": 219}


def started(**more: object) -> Sheet:
    return resolve(validated(Sheet, filled(start(answers_of("Truck", {**ANSWERS, **more})).data)))


def test_half_widths_are_those_of_sampled_trucks() -> None:
    # No weighing: every value is independent, so sampling all of them at once is the whole distribution.
    sheet = resolve(load_sheet(scenario.builds()[0]))
    values = [v for v in assumed_values(sheet) if v.kind in ("mass", "x", "z")]
    rng, found = np.random.default_rng(5), []
    for _ in range(200):
        truck = sheet
        for value, step in zip(values, rng.standard_normal(len(values)), strict=True):
            truck = shifted(truck, value, float(step))
        found.append(results(truck))
    sampled = 1.96 * np.std(found, axis=0)
    said = doubts(sheet).half_widths
    # The standard deviation of 200 draws is known to 1/sqrt(400) = 5 %; three of these, and some for curvature.
    for name in ("tips sideways", "tips back on a climb", "noses over on a descent", *ALSO):
        assert said[name] == pytest.approx(sampled[[*ANGLES, *ALSO].index(name)], rel=0.2), name


def test_weighing_leaves_of_the_bias_what_the_scale_leaves() -> None:
    said = doubts(started()).half_widths["front bias"]
    # The row is the moment over mass and wheelbase; mass and moment are each known to SCALE_SHARE.
    share = 219 / 402
    expected = 100 * 1.96 * SCALE_SHARE * math.hypot(1.0, share)
    assert said == pytest.approx(expected, rel=0.05)


def test_measuring_more_narrows_the_angles_and_takes_the_value_off_the_list() -> None:
    before, after = doubts(started()), doubts(started(weighed="body 66, battery 28, servo 9"))
    assert after.half_widths["tips sideways"] < before.half_widths["tips sideways"]
    assert "mass of the body shell" in {one.assumed.words for one in before.ranked}
    assert "mass of the body shell" not in {one.assumed.words for one in after.ranked}


def test_grip_moves_the_slide_as_its_closed_form() -> None:
    # Both tyres alike: tan(slope) = mu, so d slope = cos^2(slope) dmu, and dmu = mu sigma.
    sheet = started()
    grip = next(one for one in doubts(sheet).ranked if one.assumed.kind == "grip")
    slope = math.radians(results(sheet)[ANGLES.index("slides on a climb")])
    mu = math.tan(slope)
    assert grip.shift == pytest.approx(math.degrees(1.96 * math.cos(slope) ** 2 * mu * grip.assumed.sigma), rel=0.03)


def test_ranked_by_what_measuring_takes_away() -> None:
    ranked = doubts(started()).ranked
    gains = [one.gain for one in ranked]
    assert gains == sorted(gains, reverse=True)
    assert all(0.0 < gain <= 1.0 + 1e-9 for gain in gains)
    assert all(one.assumed.how for one in ranked)
