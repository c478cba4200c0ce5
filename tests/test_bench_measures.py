"""Bench measurements against closed forms, and the sheet that is written from them."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from bench_truck import parsed, small_truck

from models import scenario
from models.bench.measure import measure
from models.bench.measurement import Measurement, mean_of, slope_of
from models.bench.procedure import PROCEDURES, by_name
from models.bench.readings import Readings
from models.bench.rewrite import Draft
from models.bench.session import fit, write
from models.errors import BuildSheetError
from models.massprops import truck_properties
from models.sheet import load_sheet
from models.spec import Sheet
from models.steergeometry import outer_angle, turning_radius


def one(**tables: Any) -> list[Measurement]:
    """Measurements of a small file."""
    return measure(parsed({"schema": 1, "truck": "Gundi", **tables}), small_truck())


def fault(**tables: Any) -> str:
    with pytest.raises(BuildSheetError) as caught:
        one(**tables)
    return str(caught.value)


def test_grip_is_the_tangent_of_first_slip() -> None:
    (found,) = one(slip_board=[{"surface": "slate", "angles": ["45 deg", "45 deg", "45 deg"]}])
    assert found.found is not None
    assert found.found.value == pytest.approx(1.0, abs=1e-12)
    assert {s.key for s in found.settings} >= {("tyres", "front", "grip"), ("tyres", "rear", "grip")}
    assert "no angle of first slip" in fault(slip_board=[{"surface": "slate", "angles": ["-3 deg"]}])


def test_servo_torque_is_pull_times_arm() -> None:
    (found,) = one(servo={"arm": "10 mm", "pulls": ["1.2 kg", "1.2 kg"], "voltage": "6 V"})
    assert found.found is not None
    assert found.found.value == pytest.approx(1.2, rel=1e-12)  # kg·cm
    ounces = one(servo={"arm": "0.3937007874 in", "pulls": ["42.3287546 oz"], "voltage": "6 V"})[0]
    assert ounces.found is not None
    assert ounces.found.value == pytest.approx(1.2, rel=1e-6)
    assert "28.35" in fault(servo={"arm": "10 mm", "pulls": ["42 kg"], "voltage": "6 V"})


def test_spring_rate_is_the_slope() -> None:
    # 0.1 N/mm: 10.1972 g per mm; a preload of 5 g does not count.
    rows = [[f"{5 + 10.1972 * mm:.4f} g", f"{mm} mm"] for mm in (2, 4, 6, 8)]
    (found,) = one(spring=[{"axle": "rear", "rows": rows}])
    assert found.found is not None
    assert found.found.value == pytest.approx(0.1, rel=1e-5)
    assert found.settings[0].key == ("axles", "rear", "shock", "rate_n_per_mm")
    assert "less travel" in fault(spring=[{"axle": "rear", "rows": [["50 g", "2 mm"], ["40 g", "4 mm"]]}])
    assert "one place" in fault(spring=[{"axle": "rear", "rows": [["50 g", "2 mm"], ["40 g", "2 mm"]]}])


def test_slope_and_its_interval_against_the_textbook() -> None:
    # Least-squares slope with its standard error by scipy as the second opinion.
    from scipy.stats import linregress

    x, y = np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.1, 3.9, 6.2, 7.8])
    ours, theirs = slope_of(x, y, "x"), linregress(x, y)
    assert ours.value == pytest.approx(theirs.slope, rel=1e-12)
    assert ours.uncertainty == pytest.approx(theirs.stderr, rel=1e-12)


def test_mean_of_repeats() -> None:
    found = mean_of([1.0, 2.0, 3.0], 0.0)
    # t(2) = 4.303, s / sqrt(3) = .57735 (any table).
    assert found.high == pytest.approx(2.0 + 4.303 * 0.57735, abs=1e-3)


def test_sag() -> None:
    (found,) = one(sag=[{"axle": "front", "hanging": "40 mm", "resting": "36 mm", "bottomed": "30 mm"}])
    assert found.found is not None
    assert found.found.value == pytest.approx(40.0)
    assert {s.key[-1]: s.value for s in found.settings} == {"droop_mm": 4.0, "bump_mm": 6.0}
    wrong = {"axle": "front", "hanging": "30 mm", "resting": "36 mm", "bottomed": "40 mm"}
    assert "longest hanging" in fault(sag=[wrong])


def test_steering_share_of_ackermann() -> None:
    sheet = small_truck()
    span = 2.0 * (sheet.axles.front.kingpin_y_mm or 0.0) / 1000.0
    outer = math.degrees(outer_angle(math.radians(35.0), span, 0.134, 0.5))
    inner_found, share = one(steering={"inner": ["35 deg"], "outer": [f"{outer:.4f} deg"]})
    assert share.found is not None
    assert share.found.value == pytest.approx(0.5, abs=1e-4)
    assert inner_found.settings[0].value == 35.0
    assert "no steering angle" in fault(steering={"inner": ["95 deg"]})


def test_turning_circle_of_exact_geometry() -> None:
    sheet = small_truck()
    front = sheet.axles.front
    radius = turning_radius(math.radians(front.steer_deg), 2e-3 * (front.kingpin_y_mm or 0.0), 0.134, front.ackermann)
    across = 2000.0 * math.hypot(radius + front.track_mm / 2000.0, 0.134)
    (found,) = one(turning_circle=[{"to": "left", "diameters": [f"{across:.4f} mm"] * 3}])
    assert found.found is not None
    assert found.found.value == pytest.approx(1000.0 * radius, abs=1e-3)
    assert found.sheet_says == pytest.approx(1000.0 * radius, abs=1e-6)
    assert "not the radius" in fault(turning_circle=[{"to": "left", "diameters": ["180 mm"]}])


def test_kv_from_wheel_turns() -> None:
    # No-load speed = kv V (published: 5700 rpm/V at 11.1 V turn at 63270 rpm), through the reduction.
    sheet = small_truck()
    volts = 7.5 - sheet.motor.no_load_current_a * sheet.motor.resistance_ohm
    turns = sheet.motor.kv_rpm_per_v * volts / sheet.driveline.reduction / 60.0 * 5.0
    (found,) = one(wheel_speed=[{"axle": "rear", "turns": turns, "time": "5 s", "voltage": "7.5 V"}])
    assert found.found is not None
    assert found.found.value == pytest.approx(sheet.motor.kv_rpm_per_v, rel=1e-9)


def test_gears_by_counting() -> None:
    reduction, lead = one(gear_count={"motor": 402.0, "rear": 10.0, "front": 10.6})
    assert reduction.found is not None
    assert lead.found is not None
    assert reduction.found.value == pytest.approx(40.2)
    assert lead.found.value == pytest.approx(6.0)
    # The sheet gives tooth counts, which are exact and stay.
    assert lead.settings == ()
    assert "many times" in fault(gear_count={"motor": 10.0, "rear": 40.0})


def test_squish_table_goes_in_whole_and_must_rise() -> None:
    rows = [["40 g", "0.9 mm"], ["80 g", "1.6 mm"], ["160 g", "2.7 mm"]]
    (found,) = one(squish=[{"axle": "front", "rows": rows}])
    assert found.settings[0].value == [[40.0, 0.9], [80.0, 1.6], [160.0, 2.7]]
    assert "check the rows" in fault(squish=[{"axle": "front", "rows": [["40 g", "2 mm"], ["80 g", "1 mm"]]}])
    assert "right unit" in fault(squish=[{"axle": "front", "rows": [["40 g", "0.9 in"]]}])


def test_foam_gap() -> None:
    sizes = {"axle": "rear", "foam_diameter": "46 mm", "tyre_diameter": "54 mm", "tread_thickness": "2.5 mm"}
    (found,) = one(foam_gap=[sizes])
    assert found.found is not None
    assert found.found.value == pytest.approx(1.5)
    assert "too large for the tyre" in fault(foam_gap=[{**sizes, "foam_diameter": "80 mm"}])


def test_tilt_is_compared_with_the_rigid_truck() -> None:
    (found,) = one(tilt=[{"to": "left", "angles": ["39 deg", "39.5 deg", "38.5 deg"]}])
    assert found.settings == ()
    assert "upper limit" in found.remark
    assert "no truck tips there" in fault(tilt=[{"to": "left", "angles": ["4 deg"]}])


def test_procedures_guide_and_warn() -> None:
    assert {p.name for p in PROCEDURES} - {"stall"} <= set(Readings.model_fields)
    for procedure in PROCEDURES:
        assert procedure.caution
        if procedure.example:
            # The example is what a readings file takes.
            parsed({"schema": 1, "truck": "x", **tomllib.loads(procedure.example)})
    assert "Clamp the hinge" in by_name("Tilt").caution  # type: ignore[union-attr]
    assert "2 s" in by_name("servo").caution  # type: ignore[union-attr]
    assert "lithium" in by_name("wheel speed").caution.lower()  # type: ignore[union-attr]


EXAMPLE = scenario.DATA / "readings" / "gundi.toml"
BUILD = scenario.builds()[0]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Sheet]:
    target = tmp_path_factory.mktemp("fit") / "fitted.toml"
    return target, write(fit(BUILD, EXAMPLE), target)


def test_the_new_sheet_weighs_what_the_scale_shows(written: tuple[Path, Sheet]) -> None:
    target, _ = written
    truck = truck_properties(load_sheet(target))
    # The truth stands in the readings file's own comment.
    told = re.search(r"# ([\d.]+) g, .* ([\d.]+) mm ahead of the rear axle and ([\d.]+) mm up", EXAMPLE.read_text())
    assert told is not None
    grams, ahead, up = (float(x) for x in told.groups())
    assert 1e3 * truck.mass == pytest.approx(grams, abs=1.5)
    assert 1e3 * truck.cg == pytest.approx([ahead, truck.cg[1] * 1e3, up], abs=0.7)


def test_marks_and_comments_of_the_new_sheet(written: tuple[Path, Sheet]) -> None:
    target, sheet = written
    marks = {part.name: part.source for part in sheet.parts}
    assert marks["battery"] == "measured"
    assert "fitted" in marks.values()
    assert "assumed" in marks.values()
    assert sheet.tyres.front.source == "measured"
    text = target.read_text(encoding="utf-8")
    old = BUILD.read_text(encoding="utf-8")
    # All that the builder wrote as comments is still there, and the old file is as it was.
    assert all(line in text for line in old.splitlines() if line.startswith("#"))
    assert "# measured" in text
    assert "(was " in text


def test_nothing_is_overwritten(written: tuple[Path, Sheet]) -> None:
    target, _ = written
    before = target.read_bytes()
    with pytest.raises(BuildSheetError, match="never overwritten"):
        write(fit(BUILD, EXAMPLE), target)
    assert target.read_bytes() == before


def test_readings_of_another_truck_are_refused() -> None:
    with pytest.raises(BuildSheetError, match="of another truck"):
        fit(scenario.builds()[1], EXAMPLE)


def test_a_draft_keeps_what_it_does_not_touch() -> None:
    assert tomlkit.dumps(Draft(BUILD).document) == BUILD.read_text(encoding="utf-8")
