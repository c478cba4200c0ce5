"""Plan files: what they mean, what is refused, and that luck never depends on the truck."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from models import scenario
from sim.batch.adaptive import LimitArm, PairsArm, WidthArm
from sim.batch.adaptive_plan import arms, limit_levels, pair_error
from sim.batch.estimate import estimate, most_memory_mb
from sim.batch.plan import FindLimit, Plan, configurations, read_plan, store_path
from sim.batch.study import deadline, fixed_tasks, prepare
from sim.cli.console import mistakes
from sim.trial.luck import Draw, Variation, draw
from terrain.pool import LIMIT_MB

BUILD = scenario.builds()[0]
FORWARD = scenario.change(BUILD, "battery-forward")
HEAD = f"""
schema = 1
name = "x"
[[configuration]]
name = "back"
build = "{BUILD}"
[[configuration]]
name = "forward"
build = "{BUILD}"
changes = ["{FORWARD}"]
"""
LEDGE = '[[obstacle]]\nfamily = "ledge"\nlevels = [20, 30.0]\n'


def write(folder: Path, text: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(text)
    return path


def test_tasks_are_paired_and_share_the_ground(tmp_path: Path) -> None:
    study = prepare(write(tmp_path, f"repeats = 3\ntraces = 1\n{HEAD}{LEDGE}"))
    tasks = list(fixed_tasks(study))
    assert len(tasks) == 2 * 2 * 3
    for first, second in zip(tasks[::2], tasks[1::2], strict=True):
        assert first.config != second.config
        assert (first.draw, first.yard, first.level, first.repeat) == (
            second.draw,
            second.yard,
            second.level,
            second.repeat,
        )
    assert len({task.draw for task in tasks}) == 6
    assert {task.repeat for task in tasks if task.keep_trace} == {0}
    assert study.baseline.name == "back"
    assert store_path(study.plan, study.file) == tmp_path / "plan.sqlite"


def test_two_thousand_million_trials_are_counted_and_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    monkeypatch.setattr("sim.batch.study.make_task", lambda *words, **_: made.append(words))
    levels = "".join(f"{10 + 0.05 * n:.2f}, " for n in range(1000))
    text = f'repeats = 1000000\n{HEAD}[[obstacle]]\nfamily = "ledge"\nlevels = [{levels}]\n'
    found = estimate(prepare(write(tmp_path, text)), 0, 2)
    assert (found.trials, found.known) == (2 * 10**9, 0)
    assert found.disk_mb == 2e9 * 900 / 1e6
    assert not made


def test_memory_is_told_by_trucks_and_parts_before_it_starts(tmp_path: Path) -> None:
    """As measured: 285 MB with 500 trucks of 21 parts, 1,203 MB with 500 of 1,021, beside grounds and workers."""
    study = prepare(write(tmp_path, f"{HEAD}{LEDGE}"))
    first = study.trucks[0]
    sheet = first.configuration.sheet
    told = []
    for parts in (21, 1021):
        many = sheet.model_copy(update={"parts": (sheet.parts * 60)[:parts]})
        truck = replace(first, configuration=replace(first.configuration, sheet=many))
        told.append(most_memory_mb(replace(study, trucks=(truck,) * 500), 2, 1024) - LIMIT_MB - 2 * 1024)
    assert told[0] > 285
    assert told[1] > 1203
    assert told[1] - told[0] == pytest.approx(500 * 1000 * 0.002)


def test_luck_depends_on_seed_place_and_repeat_only() -> None:
    base = draw(Variation(), 1, "ledge", 30, 0)
    assert draw(Variation(), 1, "ledge", 30.0, 0) == base
    others = [
        draw(Variation(), 2, "ledge", 30, 0),
        draw(Variation(), 1, "climb", 30, 0),
        draw(Variation(), 1, "ledge", 31, 0),
        draw(Variation(), 1, "ledge", 30, 1),
    ]
    assert len({base, *others}) == 5
    assert Draw.from_text(base.text()) == base


def test_luck_has_the_size_it_was_given() -> None:
    wide = Variation(start_offset_mm=10, heading_deg=3, grip_percent=5, voltage_percent=2, cg_mm=(1, 2, 0))
    drawn = [draw(wide, 1, "ledge", 30, repeat) for repeat in range(2000)]
    offsets = np.array([d.offset_mm for d in drawn])
    assert np.abs(offsets).max() <= 10
    # Uniform: standard deviation 10 / sqrt(3); standard error of it at 2,000 draws about 1 %
    assert offsets.std() == pytest.approx(10 / 3**0.5, rel=0.05)
    assert np.std([d.grip_scale for d in drawn]) == pytest.approx(0.05, rel=0.06)
    assert max(abs(d.grip_scale - 1) for d in drawn) <= 0.15 + 1e-12
    assert np.std([d.cg_mm[1] for d in drawn]) == pytest.approx(2, rel=0.06)
    assert {d.cg_mm[2] for d in drawn} == {0.0}
    assert len({d.rock_seed for d in drawn}) == 2000


def test_switching_one_kind_off_leaves_the_others() -> None:
    full, less = draw(Variation(), 3, "ledge", 30, 5), draw(Variation(start_offset_mm=0), 3, "ledge", 30, 5)
    assert less.offset_mm == 0
    for name in ("heading_deg", "grip_scale", "voltage_scale", "rock_seed", "driver_seed"):
        assert getattr(less, name) == getattr(full, name)


def test_combinations(tmp_path: Path) -> None:
    text = f"""
schema = 1
name = "x"
{LEDGE}
[[combine]]
build = "{BUILD}"
changes = ["a/one.toml", "two.toml", "three.toml"]
choose = "CHOICE"
"""
    each, _ = read_plan(write(tmp_path, text.replace("CHOICE", "each")))
    assert [entry.name for entry in configurations(each)] == ["as it is", "one", "two", "three"]
    every, _ = read_plan(write(tmp_path, text.replace("CHOICE", "all")))
    assert len(list(configurations(every))) == 8


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + LEDGE + "wheels = 5\n", "wheels"),
        ("repeat = 3\n" + HEAD + LEDGE, "repeats"),
        ("repeats = 0\n" + HEAD + LEDGE, "repeats"),
        ('repeats = "many"\n' + HEAD + LEDGE, "repeats"),
        ('until = "25:00"\n' + HEAD + LEDGE, "until"),
        ('baseline = "sideways"\n' + HEAD + LEDGE, "back, forward"),
        ('drivers = ["nobody"]\n' + HEAD + LEDGE, "nobody"),
        (HEAD + '[[obstacle]]\nfamily = "legde"\nlevels = [3]\n', "ledge"),
        (HEAD + '[[obstacle]]\nfamily = "ledge"\nlevels = [3000]\n', "range"),
        (HEAD + '[[obstacle]]\nfamily = "ledge"\nlevels = [30]\nparameters = { slop = 3 }\n', "slop"),
        (HEAD + '[[obstacle]]\nfamily = "ledge"\n', "levels or find_limit"),
        (HEAD + '[[obstacle]]\nfamily = "ledge"\nfind_limit = { low = 30, high = 20 }\n', "high must be more"),
        (HEAD + LEDGE + LEDGE, "same obstacle twice"),
        (HEAD.replace("forward", "back", 1) + LEDGE, "same name"),
        (HEAD.replace(f'changes = ["{FORWARD}"]', "") + LEDGE, "same truck"),
        (HEAD.replace("battery-forward", "battery-foward") + LEDGE, "no such file"),
        ("schema = 1\nname = 'x'\n" + LEDGE, "configuration"),
        (HEAD + LEDGE + "[variation]\ngrip_percent = -1\n", "grip_percent"),
        ("schema = [", "TOML"),
    ],
)
def test_refused_in_one_message(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(mistakes()) as caught:
        prepare(write(tmp_path, text))
    message = str(caught.value)
    assert words in message
    assert message.count("\n") <= 2


def test_an_unknown_family_is_told_with_the_other_faults_in_file_order(tmp_path: Path) -> None:
    text = HEAD.replace('name = "x"', 'name = "x"\nrepeats = 0') + LEDGE.replace("ledge", "ledg") + "[[obstacle]]\n"
    with pytest.raises(mistakes(), match="repeats") as caught:
        read_plan(write(tmp_path, text))
    said = str(caught.value)
    places = [said.find(words) for words in ("repeats", "no such obstacle family; did you mean ledge?", "obstacle.2")]
    assert -1 not in places
    assert places == sorted(places)


def test_every_combination_of_too_many_changes_is_refused(tmp_path: Path) -> None:
    names = ", ".join(f'"{i}.toml"' for i in range(11))
    text = f'schema = 1\nname = "x"\n{LEDGE}[[combine]]\nbuild = "b"\nchanges = [{names}]\nchoose = "all"\n'
    with pytest.raises(mistakes(), match="2048 trucks"):
        read_plan(write(tmp_path, text))


def test_deadline_is_the_next_time_the_clock_shows_it() -> None:
    plan = Plan.model_construct(until="06:30")
    evening, morning = datetime(2026, 3, 1, 22, 0), datetime(2026, 3, 2, 6, 0)
    due = datetime(2026, 3, 2, 6, 30).timestamp()
    assert deadline(plan, evening) == due
    assert deadline(plan, morning) == due
    assert deadline(Plan.model_construct(until=None), evening) is None


def test_arms_follow_the_plan(tmp_path: Path) -> None:
    limit = '[[obstacle]]\nfamily = "climb"\nfind_limit = { low = 30, high = 60, trials = 20 }\n'
    study = prepare(write(tmp_path, "half_width_percent = 10\n" + HEAD + LEDGE + limit))
    kinds = [type(arm) for arm in arms(study)]
    assert kinds == [WidthArm] * 4 + [LimitArm] * 2
    study = prepare(write(tmp_path, "stop_when_decided = true\n" + HEAD + LEDGE + limit))
    assert [type(arm) for arm in arms(study)] == [PairsArm] * 2 + [LimitArm] * 2
    assert pair_error(study) == pytest.approx(0.025)
    assert limit_levels(FindLimit(low=30, high=60, step=7))[-1] == 58.0
    assert len(limit_levels(FindLimit(low=0.1, high=0.3))) == 101
