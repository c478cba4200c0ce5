"""Keys: what a result depends on is in its key, and what it does not depend on is not."""

from __future__ import annotations

import math
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import fake_trial
import numpy as np
import pytest

from models import scenario
from sim.batch.version import LIBRARIES, model_hash, versions, versions_of
from sim.physics.arrays import M_ENERGY
from sim.physics.observe import V_CG, V_CG_VEL, V_MARGIN, V_S, V_UP
from sim.trial.brief import blank_notes
from sim.trial.referee import GOING_ON, SANE_SPEED, VERDICTS, verdict
from sim.trial.rows import (
    B_FINISH,
    B_FLOOR,
    B_LANE,
    B_PACE,
    B_SIZE,
    B_TIME_LIMIT,
    B_WEIGHT,
    B_WHEELBASE,
    N_TIME,
)
from sim.trial.truck import load_truck

ROOT = Path(__file__).resolve().parents[1]
ASK = """
from models import scenario
from sim.batch.version import versions_of
from sim.trial.truck import load_truck
import fake_trial
truck = load_truck(scenario.builds()[0])
print(truck.hash, fake_trial.task(truck.hash).key(versions_of({truck.hash: truck.model})))
"""


def key_in(root: Path) -> list[str]:
    """Configuration hash and trial key as a copy of the project makes them."""
    path = os.pathsep.join([str(root), str(ROOT / "tests")])
    found = subprocess.run([sys.executable, "-c", ASK], env=os.environ | {"PYTHONPATH": path}, cwd=root,
                           capture_output=True, text=True, check=True)  # fmt: skip
    return found.stdout.split()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "old", "new", "changes"),
    [
        ("models/tyre.py", "grip=", "grip=0.4 * ", True),
        ("models/massprops.py", "/ 1000.0 for s in part.size_mm", "/ 1100.0 for s in part.size_mm", True),
        ("models/drive.py", "efficiency=required", "efficiency=0.9 * required", True),
        ("models/linkage.py", "for link in axle.links]) / 1000.0", "for link in axle.links]) / 1100.0", True),
        ("terrain/families/ledges.py", '"""', '"""Edited. ', True),
        ("sim/physics/drive_force.py", '"""', '"""Edited. ', True),
        ("sim/cli/main.py", '"""', '"""Edited. ', False),
        ("models/wording.py", '"""', '"""Edited. ', False),
    ],
)
def test_a_key_knows_what_makes_the_truck_and_the_ground(
    tmp_path: Path, file: str, old: str, new: str, changes: bool
) -> None:
    for name in ("models", "sim", "terrain"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    before = key_in(tmp_path)
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    after = key_in(tmp_path)
    assert before[0] == after[0]  # the sheet is the same
    assert (before[1] != after[1]) == changes


def test_every_number_of_a_truck_is_in_its_hash_and_its_name_is_not() -> None:
    model = load_truck(scenario.builds()[0]).model
    same = replace(model, name="another", config_hash="another")
    assert model_hash(same) == model_hash(model)
    ring = model.tyres[0]
    softer = replace(ring, law_force=np.nextafter(ring.law_force, np.inf))
    others = [
        replace(model, tyres=(softer, *model.tyres[1:])),
        replace(model, drive=replace(model.drive, efficiency=model.drive.efficiency * (1 + 1e-15))),
        replace(model, bodies=(replace(model.bodies[0], mass=model.bodies[0].mass + 1e-12), *model.bodies[1:])),
    ]
    assert len({model_hash(one) for one in (model, *others)}) == 4


def test_scipy_makes_ground_and_is_in_the_key() -> None:
    assert set(LIBRARIES) == {"numba", "numpy", "scipy"}
    assert all(f"{name} " in versions().engine for name in LIBRARIES)


def test_a_truck_built_by_other_code_has_another_key() -> None:
    model = load_truck(scenario.builds()[0]).model
    task = fake_trial.task("t")
    other = replace(model, wheelbase=model.wheelbase * 1.01)
    assert task.key(versions_of({"t": model})) != task.key(versions_of({"t": other}))
    assert task.key(versions_of({"t": model})) == task.key(versions_of({"t": model}))


def judged(views: list[tuple[float, float, float]], spent: float = 0.0) -> tuple[str, str] | None:
    """Verdict on looks given as speed, height of the centre of gravity and way along the lane."""
    row = np.zeros(B_SIZE)
    row[B_WEIGHT], row[B_WHEELBASE], row[B_FINISH], row[B_LANE] = 4.0, 0.13, 1.0, 0.1
    row[B_TIME_LIMIT], row[B_FLOOR], row[B_PACE] = 10.0, -1.0, math.inf
    notes, memory, code = blank_notes(row), np.zeros(64), GOING_ON
    for n, (speed, height, way) in enumerate(views):
        view = np.zeros(64)
        view[V_CG_VEL], view[V_CG + 2], view[V_S], view[V_UP], view[V_MARGIN] = speed, height, way, 1.0, 0.5
        memory[M_ENERGY] = spent * n
        notes[N_TIME] = 0.01 * n
        code = verdict(notes, row, view, memory, np.zeros((4, 64)))
    return None if code == GOING_ON else VERDICTS[code]


def test_numbers_that_blew_up_are_invalid_even_past_the_finish() -> None:
    assert judged([(0.0, 0.05, 0.0), (500.0, 0.05, 2.0)]) == ("invalid", "faster than anything moves here")
    assert judged([(0.0, 0.05, 0.0), (SANE_SPEED - 1.0, 0.05, 2.0)]) == ("invalid", "more energy than the pack gave")
    assert judged([(0.0, 0.05, 0.0), (float("nan"), 0.05, 2.0)]) == ("invalid", "state not finite")
    assert judged([(0.0, 0.05, 0.0), (0.3, float("nan"), 2.0)]) == ("invalid", "state not finite")


def test_a_fall_and_a_strong_motor_are_no_blow_up() -> None:
    # 2 m of fall give sqrt(2 g h) = 6.26 m/s, paid for by height.
    assert judged([(0.0, 2.0, 0.0), (6.26, 0.0, 2.0)]) == ("cleared", "crossed the finish")
    # 1.8 m/s with 0.41 kg is 0.66 J, less than what two weights times wheelbases let pass (1.04 J).
    assert judged([(0.0, 0.05, 0.0), (1.8, 0.05, 2.0)]) == ("cleared", "crossed the finish")
    # 4 m/s is 3.3 J: only a pack that gave them explains it.
    assert judged([(0.0, 0.05, 0.0), (4.0, 0.05, 2.0)]) == ("invalid", "more energy than the pack gave")
    assert judged([(0.0, 0.05, 0.0), (4.0, 0.05, 2.0)], spent=3.0) == ("cleared", "crossed the finish")
