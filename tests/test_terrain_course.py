"""Courses: legs in order, a lane through the gates, gate judgement and points."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from terrain import catalog, course_build, from_file
from terrain.course_file import CourseFile, Rules, load_course
from terrain.errors import TerrainError
from terrain.gates import Gate, passages, reverses
from terrain.heightfield import sample
from terrain.score import Tally, score
from terrain.yardstick import Yardstick

YARD = Yardstick(0.14, 0.028)
SHIPPED = Path(from_file.__file__).parent / "course_data" / "quarry-garden.toml"


def course(*legs: dict[str, object], **top: object) -> CourseFile:
    return CourseFile.model_validate({"schema": 1, "name": "test", "roughness_mm": 0, "leg": list(legs), **top})


def test_shipped_course_is_invented_and_builds_for_every_scale() -> None:
    file = load_course(SHIPPED)
    assert file.invented
    for yard in (YARD, Yardstick(0.313, 0.06)):
        built = course_build.build(file, yard, seed=1)
        assert [gate.name for gate in built.gates] == ["1", "2", "3", "4", "5"]
        x_min, x_max, y_min, y_max = built.obstacle.ground.extent
        lane = built.obstacle.lane
        assert np.all((lane[:, 0] >= x_min) & (lane[:, 0] <= x_max))
        assert np.all((lane[:, 1] >= y_min) & (lane[:, 1] <= y_max))
        assert np.all(np.diff(lane[:, 0]) > 0)


def test_legs_stand_on_each_other() -> None:
    """A 20 mm ledge, then a 12 mm ledge, then down 8 mm: the ground ends 24 mm up."""
    built = course_build.build(
        course({"obstacle": "ledge:20"}, {"obstacle": "ledge:12"}, {"obstacle": "ledge-down:8"}), YARD, seed=1
    )
    z = built.obstacle.ground.z[:, 0]
    assert z[0] == 0.0
    assert z[-1] == pytest.approx(0.024)
    assert np.count_nonzero(np.abs(np.diff(z)) > 1e-9) == 3


def test_percent_scales_every_level() -> None:
    file = course({"obstacle": "ledge:20"}, {"obstacle": "climb:20"})
    half = course_build.build(file, YARD, seed=1, percent=50).obstacle.ground.z[:, 0]
    assert half[-1] == pytest.approx(0.010 + np.ptp(half[np.argmax(half > 0.0099) :]))
    steps = np.degrees(np.arctan(np.diff(half) / 0.002))
    assert np.sort(steps)[-2] == pytest.approx(10.0, abs=1e-6)


def test_free_ground_undulates_by_what_was_asked_and_joins_level() -> None:
    built = course_build.build(course({"free_mm": 3000, "undulation_mm": 4}), YARD, seed=2)
    ground = built.obstacle.ground
    inside = (ground.x > 0.28 + 0.14) & (ground.x < 0.28 + 3.0 - 0.14)
    # 3 m hold some ten waves across and a few along the ground's width: the rms of such a cut scatters by a third.
    assert ground.z[inside].std() == pytest.approx(0.004, rel=0.35)
    assert np.abs(ground.z[ground.x < 0.28]).max() == 0.0


def test_lane_goes_through_the_gates_and_never_swings_past_them() -> None:
    built = course_build.build(
        course(
            {"free_mm": 500},
            {"gate": "a", "left_mm": 60},
            {"free_mm": 600},
            {"gate": "b", "left_mm": -50, "width_mm": 150},
            {"free_mm": 300},
        ),
        YARD,
        seed=1,
    )
    lane = built.obstacle.lane
    a, b = built.gates
    for gate in (a, b):
        nearest = np.min(np.hypot(lane[:, 0] - gate.x, lane[:, 1] - gate.y))
        assert nearest < 0.51 * course_build.LANE_STEP * 0.14
    assert lane[:, 1].max() <= 0.060 + 1e-9
    assert lane[:, 1].min() >= -0.050 - 1e-9
    assert a.width == pytest.approx(0.21)
    assert b.width == pytest.approx(0.15)
    assert np.linalg.norm(a.markers()[0] - a.markers()[1]) == pytest.approx(a.width)


def test_finish_lies_a_wheelbase_past_the_last_leg() -> None:
    built = course_build.build(course({"free_mm": 500}), YARD, seed=1)
    assert built.obstacle.finish_s == pytest.approx(0.28 + 0.5 + 0.14, abs=0.0021)


@pytest.mark.parametrize(
    ("leg", "says"),
    [
        ({"obstacle": "ledge:20", "free_mm": 3}, "one of"),
        ({}, "one of"),
        ({"free_mm": 100, "left_mm": 5}, "belong to a gate"),
        ({"obstacle": "ledge:20", "undulation_mm": 3}, "belongs to free_mm"),
        ({"obstacle": "ledge:20", "colour": 3}, "no such key"),
    ],
)
def test_bad_legs_name_themselves(tmp_path: Path, leg: dict[str, object], says: str) -> None:
    import json

    lines = "\n".join(f"{key} = {json.dumps(value)}" for key, value in leg.items())
    path = tmp_path / "c.toml"
    path.write_text(f'schema = 1\nname = "x"\n[[leg]]\nfree_mm = 100\n[[leg]]\n{lines}\n')
    with pytest.raises(TerrainError, match=says) as error:
        load_course(path)
    assert "leg 2" in str(error.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("schema = 2\nname='x'\n[[leg]]\nfree_mm=1\n", "schema"),
        ("schema = 1\nname='x'\n", "leg"),
        ("schema = ", "TOML"),
        ("schema = 1\nname='x'\n[[leg]]\ngate='a'\n[[leg]]\nfree_mm=9\n[[leg]]\ngate='a'\n", "two gates"),
    ],
)
def test_bad_course_files(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "c.toml"
    path.write_text(text)
    with pytest.raises(TerrainError, match=says):
        load_course(path)


@pytest.mark.parametrize(
    ("legs", "says"),
    [
        (({"obstacle": "ledge:900"},), "leg 1: ledge"),
        (({"free_mm": 100}, {"obstacle": "lodge:9"}), "leg 2"),
        (({"obstacle": "ledge:9,roughness=1"},), "whole course"),
        (({"free_mm": 9}, {"gate": "a"}, {"gate": "b"}, {"free_mm": 9}), "same place"),
    ],
)
def test_legs_that_cannot_be_built(legs: tuple[dict[str, object], ...], says: str) -> None:
    with pytest.raises(TerrainError, match=says):
        course_build.build(course(*legs), YARD, seed=1)


def test_a_course_file_is_an_obstacle_text() -> None:
    obstacle = catalog.from_text(str(SHIPPED), wheelbase=0.14, tyre_radius=0.028, seed=4)
    again = catalog.from_text(str(SHIPPED), wheelbase=0.14, tyre_radius=0.028, seed=4)
    assert np.array_equal(obstacle.ground.z, again.ground.z)
    assert obstacle.family == "Quarry garden"
    assert float(sample(obstacle.ground, obstacle.finish_s, 0.0)) > 0.3


def straight(y: float, x: np.ndarray) -> np.ndarray:
    """Four wheels of a truck 0.14 x 0.08 m whose rear axle is at x, middle line at y."""
    wheels = [(0.14, 0.04), (0.14, -0.04), (0.0, 0.04), (0.0, -0.04)]
    return np.stack([np.column_stack([x + dx, np.full_like(x, y + dy)]) for dx, dy in wheels], axis=1)


def test_gate_passed_skipped_and_touched() -> None:
    gates = (Gate("1", 0.5, 0.0, 0.0, 0.2), Gate("2", 1.0, 0.0, 0.0, 0.2))
    x = np.linspace(0, 1.5, 301)
    through = passages(gates, straight(0.0, x), 0.01)
    assert [p.passed_at is not None for p in through] == [True, True]
    assert x[through[0].passed_at or 0] == pytest.approx(0.5, abs=0.006)
    assert [p.touched for p in through] == [0, 0]
    beside = passages(gates, straight(0.3, x), 0.01)
    assert [p.skipped for p in beside] == [True, True]
    # One marker at y = 0.1 and a wheel at 0.055 + 0.04: 5 mm away.
    grazing = passages(gates, straight(0.055, x), 0.01)
    assert [p.touched for p in grazing] == [1, 1]
    assert all(p.passed_at is not None for p in grazing)
    short = passages(gates, straight(0.0, x[:150]), 0.01)
    assert [(p.passed_at is not None, p.skipped) for p in short] == [(True, False), (False, False)]


def test_a_gate_driven_backwards_is_not_passed() -> None:
    gate = Gate("1", 0.5, 0.0, math.pi, 0.2)
    (found,) = passages((gate,), straight(0.0, np.linspace(0, 1, 200)), 0.01)
    assert found.passed_at is None


def test_reverses_count_turns_back_not_jitter() -> None:
    up, back = np.linspace(0, 1, 100), np.linspace(1, 0.8, 20)
    path = np.concatenate([up, back, np.linspace(0.8, 1.2, 40), np.linspace(1.2, 1.15, 9)])
    assert reverses(path, 0.01) == 2
    assert reverses(up + 0.002 * np.sin(np.arange(100)), 0.01) == 0


def test_points_by_hand() -> None:
    """Eight gates (-16), one marker (+10), two reverses (+2), one gate not reached (+20): 16."""
    run = Tally(gates_passed=8, gates_not_reached=1, markers_touched=1, reverses=2, time_s=200)
    found = score(Rules(), run)
    assert found.points == 16
    assert not found.out
    assert {what: points for what, _, points in found.lines}["gate passed"] == -16
    assert score(Rules(out_at=32), run).out
    assert score(Rules(), Tally(time_s=301)).out
