"""What a sheet leaves open is filled in by scale and listed as assumed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.defaults import resolve
from models.key import dotted, index_of, join, split
from models.sheet import load_sheet
from models.spec import Sheet
from models.typical import keys, tables, usual

SHEET = load_sheet(scenario.builds()[0])


def _value(sheet: Sheet, key: str) -> object:
    here: object = sheet.model_dump(by_alias=True)
    for step in split(key):
        if isinstance(here, dict):
            here = here[step]
        else:
            assert isinstance(here, tuple)
            index = index_of(here, step)
            assert index is not None
            here = here[index]
    return here


@pytest.mark.parametrize("path", scenario.builds(), ids=lambda path: path.stem)
def test_nothing_is_left_open_but_what_is_found_from_the_truck(path: object) -> None:
    resolved = resolve(load_sheet(str(path)))
    dumped = resolved.model_dump()
    for record in (dumped["motor"], dumped["battery"], dumped["servo"]):
        assert None not in record.values()
    open_keys = {key for key, value in dumped["driveline"].items() if value is None}
    assert open_keys <= {"overdrive_percent"}
    assert all(shape["grip"] is not None for shape in dumped["hull"])
    for tyre in dumped["tyres"].values():
        assert {key for key, value in tyre.items() if value is None} <= {
            "squish",
            "stiffness_n_per_mm",
            "foam_gap_mm",
            "foam_stiffness_n_per_mm",
        }
        assert tyre["squish"] is not None or tyre["stiffness_n_per_mm"] is not None


def test_every_filled_key_is_listed_and_was_open() -> None:
    resolved = resolve(SHEET)
    for key in resolved.assumed:
        filled = _value(resolved, key)
        assert filled is not None
        if not isinstance(filled, dict):
            assert _value(SHEET, key) is None, key
    assert "driveline.efficiency" in resolved.assumed
    assert "parts.battery" in resolved.assumed
    assert "tyres.front" in resolved.assumed
    assert "tyres.front.grip" not in resolved.assumed  # the sheet gives it


def test_measured_parts_are_not_listed() -> None:
    parts = tuple(
        part.model_copy(update={"source": "measured"}) if part.name == "battery" else part for part in SHEET.parts
    )
    assert "parts.battery" not in resolve(SHEET.model_copy(update={"parts": parts})).assumed


def test_what_the_sheet_says_stays() -> None:
    battery = SHEET.battery.model_copy(update={"resistance_ohm": 0.5})
    resolved = resolve(SHEET.model_copy(update={"battery": battery}))
    assert resolved.battery.resistance_ohm == 0.5
    assert "battery.resistance_ohm" not in resolved.assumed


def test_resolving_twice_changes_nothing() -> None:
    once = resolve(SHEET)
    assert resolve(once) == once


def test_assumed_keys_that_lead_nowhere_are_dropped() -> None:
    guessed = ("motor.kv_rpm_per_v", "parts.gone", "a..b", "tyres.front.squish.2", "tyres.front.squish.9", "grip.x")
    found = resolve(SHEET.model_copy(update={"assumed": guessed})).assumed
    assert [key for key in guessed if key in found] == ["motor.kv_rpm_per_v", "tyres.front.squish.2"]


def test_tyre_without_table_gets_a_stiffness_and_its_foam() -> None:
    bare = SHEET.tyres.front.model_copy(update={"squish": None, "foam_gap_mm": 0.5})
    resolved = resolve(SHEET.model_copy(update={"tyres": SHEET.tyres.model_copy(update={"front": bare})}))
    front = resolved.tyres.front
    assert front.stiffness_n_per_mm == usual("tyre.stiffness_n_per_mm", 24)
    assert front.foam_stiffness_n_per_mm == pytest.approx(1.5 * usual("tyre.stiffness_n_per_mm", 24), abs=1e-3)
    assert "tyres.front.stiffness_n_per_mm" in resolved.assumed


def test_axle_gears_come_from_the_tooth_counts() -> None:
    assert resolve(SHEET).driveline.shaft_reduction == 26 / 8


def test_sheet_wide_grip_goes_to_the_tyre_that_gives_none() -> None:
    tyres = SHEET.tyres.model_copy(update={"rear": SHEET.tyres.rear.model_copy(update={"grip": None})})
    resolved = resolve(SHEET.model_copy(update={"tyres": tyres, "grip": 0.7}))
    assert (resolved.tyres.front.grip, resolved.tyres.rear.grip) == (SHEET.tyres.front.grip, 0.7)


@pytest.mark.parametrize("key", keys())
def test_usual_values_meet_their_table_and_run_between(key: str) -> None:
    # Printed to three figures, hence 0.5 %.
    block, name = key.split(".")
    figures = tables()["value"][block][name]["usual"]
    row = figures if isinstance(figures, list) else [figures] * 3
    for scale, value in zip(tables()["scales"], row, strict=True):
        assert usual(key, scale) == pytest.approx(value, rel=5e-3)
    assert min(row[:2]) <= usual(key, 14.0) <= max(row[:2])


@given(st.lists(st.text(st.characters(exclude_characters='"', codec="utf-8"), max_size=8), min_size=1, max_size=4))
def test_dotted_keys_come_back(steps: list[str]) -> None:
    assert split(join(steps)) == steps


@pytest.mark.parametrize("key", ["", ".", "a.", "a..b", 'a."b', "a b"])
def test_no_dotted_key(key: str) -> None:
    with pytest.raises(ValueError, match="not a dotted key"):
        split(key)


def test_places_are_named_as_the_builder_knows_them() -> None:
    data = {"parts": [{"name": "front bumper", "at_mm": [1, 2, 3]}, {}], "squish": [[1, 2]]}
    assert dotted(("parts", 0, "at_mm", 2), data) == 'parts."front bumper".at_mm.z'
    assert dotted(("parts", 1, "mass_g"), data) == "parts.2.mass_g"
    assert dotted(("squish", 0, 1), data) == "squish.1.2"
