"""Warnings: each with its number, against formulas worked out by hand."""

from __future__ import annotations

import math
from functools import cache

import pytest

from models.assemble import rigid_model
from models.change import Change, load_change
from models.defaults import resolve
from models.edit import apply
from models.massprops import truck_properties
from models.scenario import builds, change
from models.sheet import load_sheet
from sim.decision.caution import Caution, Exertion, beyond, briefly, cautions, climb_current
from sim.decision.obstacle_mix import lines
from sim.trial.ground_cache import Yard
from sim.trial.task import Record

GUNDI = load_sheet(builds()[0])
YARD = Yard(134.0, 27.0, 24.0)


@cache
def sheet(*names):
    return resolve(apply(GUNDI, [load_change(change("gundi", name)) for name in names]))


def altered(**keys):
    set_ = {key.replace("__", "."): value for key, value in keys.items()}
    return resolve(apply(GUNDI, [Change.model_validate({"schema": 1, "name": "x", "set": set_})]))


def kinds(found):
    return {one.kind for one in found}


def test_a_sound_truck_gives_no_warning_against_itself():
    assert cautions(sheet(), sheet()) == []


def test_a_weak_servo_is_told_with_both_torques():
    (one,) = [c for c in cautions(altered(servo__stall_kgcm=0.2), sheet()) if c.kind == "servo"]
    assert one.value > one.limit
    assert f"{one.value:.2f}" in one.text
    assert f"{one.limit:.2f}" in one.text


def test_current_to_hold_a_climb_by_hand():
    model = rigid_model(sheet())
    d = model.drive
    radius = float(model.origins()[9, 2])
    torque = truck_properties(sheet()).weight * math.sin(math.radians(45.0)) * radius
    want = torque / (d.kt * d.rear_reduction * d.efficiency) + d.no_load_current
    assert climb_current(model, math.radians(45.0)) == pytest.approx(want, rel=1e-6)


def test_a_motor_short_of_current_is_told():
    course = lines((), ("climb:50",), YARD)
    assert "current" in kinds(cautions(altered(motor__current_limit_a=0.3), sheet(), course))
    assert "current" not in kinds(cautions(sheet(), sheet(), course))


def test_the_steepest_descent_asked_for_counts():
    course = lines((), ("descent:45", "descent:52"), YARD)
    (one,) = [c for c in cautions(sheet("battery-forward"), sheet(), course) if c.kind == "nose-over"]
    assert one.limit == 52.0
    assert "short" in one.text
    assert "nose-over" not in kinds(cautions(sheet(), sheet(), course))


def test_tyres_that_newly_rub_are_told():
    out = {"schema": 1, "name": "x", "move": [{"part": "battery", "by_mm": [98, 12, 0]}]}
    moved = resolve(apply(GUNDI, [Change.model_validate(out)]))
    found = [c for c in cautions(moved, sheet()) if c.kind == "rubbing"]
    assert any("battery" in one.text and "mm deep" in one.text for one in found)
    assert [c for c in cautions(sheet("battery-forward"), sheet()) if c.kind == "rubbing"] == []


def test_loads_that_grow_are_told_by_their_factor():
    found = cautions(sheet("front-wheel-rings"), sheet(), factor=1.1)
    assert {"shaft load", "gear load"} <= kinds(found)
    gear = next(one for one in found if one.kind == "gear load")
    assert gear.value > 1.1
    assert f"{gear.value:.2f}" in gear.text
    assert kinds(cautions(sheet("front-wheel-rings"), sheet(), factor=9.0)) == set()


def record(**values):
    usual = {"outcome": "stuck", "reason": "x", "time_s": 1.0, "distance_mm": 1.0, "min_margin_deg": 1.0,
             "margin_p5_deg": 1.0, "slip": 0.1, "belly_strikes": 0, "peak_current_a": 1.0, "servo_saturation": 0.0,
             "energy_j": 1.0, "max_sink_mm": 1.0}
    return Record(**(usual | values))


def test_trials_tell_of_servo_and_motor():
    limit = rigid_model(sheet()).drive.current_limit
    hard = Exertion.of([record(peak_current_a=limit, servo_saturation=0.6)] * 3)
    found = cautions(sheet(), sheet(), (), hard)
    assert {"servo", "current"} <= kinds(found)
    assert any(f"limit of {limit:.1f} A in 3 of 3 trials" in one.text for one in found)
    assert any("stall torque for 60 % of the time" in one.text for one in found)
    assert cautions(sheet(), sheet(), (), Exertion.of([record()])) == []
    # What the truck before did as well is not told again, and what grows by more than a tenth is.
    assert cautions(sheet(), sheet(), (), hard, hard) == []
    less = Exertion.of([record(peak_current_a=limit, servo_saturation=0.3)] * 3)
    assert kinds(cautions(sheet(), sheet(), (), hard, less)) == {"servo"}


def test_trials_in_which_the_solver_failed_say_nothing():
    failed = record(outcome="invalid", peak_current_a=math.nan, servo_saturation=math.nan)
    assert len(Exertion.of([failed, record()]).current_a) == 1
    assert cautions(sheet(), None, (), Exertion.of([failed])) == []


def test_each_caution_is_said_once_with_every_truck_it_holds_for():
    one, two = (Caution("servo", "at rest", text, 2.0, 1.0) for text in ("weak", "weaker"))
    assert briefly([("a", [one]), ("b", [one, two])]) == ["a, b: weak", "b: weaker"]
    assert briefly([(name, [one]) for name in "abcdef"]) == ["a, b, c, d and 2 more: weak"]


def test_beyond_keeps_what_is_new_or_clearly_worse():
    shallow, deep = (Caution("rubbing", "front battery", f"{d} mm", d, 0.0) for d in (1.0, 1.4))
    deeper = Caution("rubbing", "front battery", "1.6 mm", 1.6, 0.0)
    assert beyond([deep], [shallow]) == []
    assert beyond([deeper], [shallow]) == [deeper]
    steep, steeper = (Caution("nose-over", "asked", "x", angle, 50.0) for angle in (48.0, 45.0))
    assert beyond([steeper], [steep]) == [steeper]
    assert beyond([steep], [steeper]) == []
    assert beyond([shallow], []) == [shallow]
