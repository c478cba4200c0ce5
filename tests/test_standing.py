"""Wheels on the sheet against the loaded radius read off the squish table by hand."""

from __future__ import annotations

import numpy as np
import pytest

from models.massprops import GRAVITY, truck_properties, wheel_loads
from models.scenario import builds
from models.sheet import load_sheet
from models.spec import Sheet
from models.standing import TOLERANCE, wheel_heights

GUNDI = load_sheet(builds()[0])


def lifted(by_mm: float, sheet: Sheet = GUNDI) -> Sheet:
    parts = [part.model_copy(update={"at_mm": (part.at_mm[0], part.at_mm[1], part.at_mm[2] + by_mm)})
             if part.body == "front_wheels" else part for part in sheet.parts]
    return sheet.model_copy(update={"parts": tuple(parts)})


def test_wheels_at_half_the_diameter_are_told_with_both_heights() -> None:
    found = wheel_heights(lifted(2.0))
    assert {one.part for one in found} == {"front wheel", "front tyre and foam"}
    # The squish under the front wheels' load, between the rows of the table: 80 g give 1.9 mm, 120 g 2.6 mm.
    grams = 1000.0 * float(wheel_loads(GUNDI).load[:2].mean()) / GRAVITY
    squish = float(np.interp(grams, [40, 80, 120], [1.1, 1.9, 2.6]))
    # The tyre's law is a smooth fit of its table, within a tenth of a millimetre of it.
    assert found[0].loaded_mm == pytest.approx(27.0 - squish, abs=0.1)
    assert found[0].height_mm == 27.0
    assert "front wheel is at z = 27 mm, but its wheel stands at 25.0 mm" in found[0].text


def test_within_a_rulers_error_nothing_is_said() -> None:
    assert wheel_heights(GUNDI) == ()
    assert wheel_heights(lifted(0.9 * TOLERANCE * GUNDI.tyres.front.outside_diameter_mm)) == ()


def test_what_the_tolerance_is_worth() -> None:
    off = TOLERANCE * GUNDI.tyres.front.outside_diameter_mm
    rise = 1000.0 * float(truck_properties(lifted(off)).cg[2] - truck_properties(GUNDI).cg[2])
    assert rise < 0.01 * GUNDI.tyres.front.outside_diameter_mm
