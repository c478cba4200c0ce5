"""Left and right exchanged: ground, luck, shafts; what carries; drivers who try another line."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck, perform, task

from models.scenario import DATA
from sim.physics.margin import footprint_margin, tip_over_margin
from sim.physics.observe import V_CG, V_LEFT_Z, V_LOAD, V_SIZE, V_UP, V_WHEELS
from sim.store.store import Store
from sim.trial import driver, ground_cache
from sim.trial.brief import blank_notes, brief_of
from sim.trial.luck import Draw, Variation, draw
from sim.trial.referee import GOING_ON, SLIDE_TIME, VERDICTS, verdict
from sim.trial.result import RECORD_COLUMNS, TrialResult, record
from sim.trial.rows import (
    B_ASIDE,
    B_DELAY,
    B_FINISH,
    B_FLOOR,
    B_LANE,
    B_PACE,
    B_SIZE,
    B_TIME_LIMIT,
    B_WEIGHT,
    B_WHEELBASE,
    N_LOOKS,
    N_SEEN,
    N_SLIDE,
    N_TIME,
    N_TRIED,
)
from sim.trial.task import Report, Task
from sim.trial.truck import load_truck
from terrain.obstacle import mirrored

YARD = "133x27@24"


def report(wanted: Task) -> Report:
    """A finished trial of the fake study."""
    result = perform(FakeStudy({"a": FakeTruck(30.0)}), wanted)
    return Report(wanted, record(result), None, 0.1)


CORNERS = np.array([[0.13, 0.05, 0.0], [0.13, -0.05, 0.0], [0.0, 0.05, 0.0], [0.0, -0.05, 0.0]])
CG = np.array([0.065, 0.0, 0.06])
DOWN = np.array([0.0, 0.0, -1.0])


def test_a_mirrored_ground_has_left_and_right_exchanged() -> None:
    plain = ground_cache.ground("off-camber-ledge,skew_deg=20", 12.0, YARD, None, 3)
    image = mirrored(plain)
    assert np.array_equal(image.ground.z, plain.ground.z[:, ::-1])
    assert np.allclose(image.ground.y, -plain.ground.y[::-1], atol=1e-12)
    assert not np.array_equal(image.ground.z, plain.ground.z)
    assert np.array_equal(mirrored(image).ground.z, plain.ground.z)


def test_one_sided_ground_is_mirrored_in_every_other_repeat() -> None:
    assert [draw(Variation(), 1, "side-hill", 30, k).mirrored for k in range(4)] == [False, True, False, True]
    assert not any(draw(Variation(), 1, "ledge", 30, k).mirrored for k in range(4))
    assert not draw(Variation(both_sides=False), 1, "side-hill", 30, 1).mirrored


def test_mirroring_leaves_the_rest_of_the_luck_and_old_texts_alone() -> None:
    alike, image = draw(Variation(both_sides=False), 1, "side-hill", 30, 1), draw(Variation(), 1, "side-hill", 30, 1)
    assert replace(image, mirrored=False) == alike
    assert "mirrored" not in alike.text()
    assert Draw.from_text(image.text()) == image
    assert Draw.from_text(alike.text()) == alike


def test_four_carrying_wheels_have_the_margin_of_their_rectangle() -> None:
    # atan(half track / height), the rigid tip angle.
    assert footprint_margin(CORNERS, 4, CG, DOWN) == pytest.approx(math.atan2(0.05, 0.06), abs=1e-12)
    assert footprint_margin(CORNERS, 4, CG, DOWN) == pytest.approx(tip_over_margin(CORNERS, CG, DOWN)[0], abs=1e-12)


def test_a_lifted_wheel_is_no_corner() -> None:
    # Front left in the air: the edge is the diagonal from front right to rear left. The centre of gravity lies 5 mm
    # to its right (towards the rear right wheel), measured square to it.
    cg = np.array([0.065, 0.0, 0.06]) + 0.005 * np.array([-0.05, -0.065, 0.0]) / math.hypot(0.05, 0.065)
    margin = footprint_margin(CORNERS[[1, 2, 3]], 3, cg, DOWN)
    assert margin == pytest.approx(math.atan2(0.005, 0.06), abs=1e-9)


def test_a_belly_on_rock_is_a_corner() -> None:
    belly = np.array([[0.065, 0.09, 0.02]])
    wide = np.vstack([CORNERS[[0, 1, 3]], belly])
    narrow = footprint_margin(CORNERS[[0, 1, 3]], 3, CG, DOWN)
    assert footprint_margin(wide, 4, CG, DOWN) > narrow + math.radians(5.0)


@pytest.mark.parametrize("push", [(0.02, 0.05), (-0.02, -0.05), (0.05, -0.02), (-0.05, 0.02)])
def test_contacts_one_above_the_other_are_no_edge_to_tip_over(push: tuple[float, float]) -> None:
    """On a ledge's face they lie in line but for rounding, and the angle about such an upright edge is anything."""
    above = CORNERS[[0]] + [1e-9, -1e-9, 0.03]  # the corner of the tyre is one of the hull still
    force = np.array([*push, -1.0])
    margin = footprint_margin(np.vstack([CORNERS, above]), 5, CG, force)
    assert margin == pytest.approx(footprint_margin(CORNERS, 4, CG, force), abs=math.radians(2.0))


def test_two_points_are_no_footprint() -> None:
    assert footprint_margin(CORNERS, 2, CG, DOWN) == math.pi
    for aside in (0.0, 1e-17, -1e-17, 1e-9):
        in_line = np.array([[0.0, 0.0, 0.0], [0.05, aside, 0.0], [0.1, 0.0, 0.0]])
        assert footprint_margin(in_line, 3, CG, DOWN) == math.pi


def test_every_measure_reaches_the_record() -> None:
    result = TrialResult("cleared", "", 1.0, 0.5, 0.1, 0.2, 0.3, 4, 5.0, 0.6, 7.0, 0.008, 0.25, 0.125)
    found = record(result)
    assert (found.distance_mm, found.belly_strikes, found.top_speed_mps, found.top_slide_mps) == (500.0, 4, 0.25, 0.125)
    assert found.min_margin_deg == pytest.approx(math.degrees(0.1), abs=1e-12)
    assert len(RECORD_COLUMNS) == 14
    assert record(replace(result, energy=math.nan)).outcome == "invalid"


@pytest.fixture(scope="module")
def patient() -> np.ndarray:
    """Brief of the patient driver on a side-hill."""
    model = load_truck(DATA / "gundi.toml").model
    return brief_of(model, ground_cache.ground("side-hill", 30.0, YARD, None, 3), driver.named("patient"))


def test_a_patient_driver_tries_a_third_of_the_track_to_either_side(patient: np.ndarray) -> None:
    third = min(load_truck(DATA / "gundi.toml").model.track) / 3.0
    assert patient[B_ASIDE : B_ASIDE + 3] == pytest.approx([0.0, third, -third], rel=1e-12)
    aims = []
    for tried in range(4):
        notes = blank_notes(patient)
        notes[N_TRIED], notes[N_LOOKS] = tried, patient[B_DELAY]
        notes[N_SEEN:] = 9.0
        driver.steer(notes, patient, np.zeros(V_SIZE))
        aims.append(notes[N_SEEN + int(patient[B_DELAY])])
    assert aims[0] == aims[3] == 0.0
    assert aims[1] == -aims[2] > 0.0


def test_a_light_uphill_wheel_turns_him_down_the_fall_line(patient: np.ndarray) -> None:
    def steered(loads: tuple[float, ...]) -> list[float]:
        notes, told = blank_notes(patient), []
        view = np.zeros(V_SIZE)
        view[V_LEFT_Z], view[V_LOAD : V_LOAD + 4] = 0.5, loads
        for k in range(40):
            notes[N_LOOKS] = k
            told.append(driver.steer(notes, patient, view))
        return told

    light = steered((1.0, 1.0, 0.1, 1.0))
    assert light[-1] < 0.0, "left is uphill: he steers right"
    assert light[int(patient[B_DELAY]) - 1] == 0.0 > light[int(patient[B_DELAY])], "and not before he has reacted"
    assert steered((1.0,) * 4)[-1] == 0.0
    assert not driver.named("steady").light


def test_sliding_faster_than_a_walking_pace_is_not_clearing() -> None:
    def ends(slide: float) -> tuple[str, str] | None:
        row = np.zeros(B_SIZE)
        row[B_WEIGHT], row[B_WHEELBASE], row[B_FINISH], row[B_LANE] = 5.0, 0.133, 1.0, 0.1
        row[B_TIME_LIMIT], row[B_FLOOR], row[B_PACE] = 60.0, -1.0, 0.286
        notes = blank_notes(row)
        notes[N_SLIDE] = slide
        view = np.zeros(V_SIZE)
        view[V_CG + 2], view[V_UP], view[V_WHEELS] = 0.05, 1.0, 0.5
        for k in range(round(2 * SLIDE_TIME / 0.01)):
            notes[N_TIME] = 0.01 * k
            code = verdict(notes, row, view, np.zeros(64), np.zeros((4, 16)))
            if code != GOING_ON:
                return VERDICTS[code]
        return None

    assert ends(0.3) == ("slid", "slid down")
    assert ends(0.25) is None


def test_a_store_from_before_a_measure_gets_its_column(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    with Store(path, write=True) as store:
        store.add([report(task())], VERSIONS)
    with closing(sqlite3.connect(path)) as old:
        old.execute("ALTER TABLE trial DROP COLUMN top_slide_mps")
        old.execute("UPDATE trial SET checksum = ''")
        old.commit()
    with Store(path) as store:
        (found,) = store.trials()
        assert math.isnan(found.record.top_slide_mps)
        assert found.record.outcome in ("cleared", "rolled")
        assert not store.damaged
