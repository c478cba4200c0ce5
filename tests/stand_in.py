"""Stand-in trials in processes that a test does not start itself: those of a page, its runs and their workers.

A folder with a ``sitecustomize.py`` that calls :func:`take_over` is put on their path, so that the test's own process
keeps its trials. Theirs go by the handbook at once, but the worker waits after a few of its own for as long as the file
named by ``CRAG_GATE`` is there: so a test can look at a run that is half way through.
"""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from pathlib import Path

from fake_trial import perform_handbook

from models.rigid import RigidModel
from sim.batch import session
from sim.trial.result import TrialResult
from sim.trial.task import Task

BEFORE_THE_GATE = 20
"""Trials of a worker."""
_done = 0


def take_over() -> None:
    """Let every session of this process drive by :func:`perform`."""
    session.PERFORM = "stand_in:perform"


def perform(trucks: Mapping[str, RigidModel], task: Task) -> TrialResult:
    """As :func:`fake_trial.perform_handbook`; see above."""
    global _done
    _done += 1
    gate = Path(os.environ["CRAG_GATE"])
    while _done > BEFORE_THE_GATE and gate.exists():
        time.sleep(0.02)
    return perform_handbook(trucks, task)


def path_of(folder: Path) -> dict[str, str]:
    """Environment of a process whose trials are these; the gate is the file ``gate`` in the folder."""
    folder.mkdir(exist_ok=True)
    (folder / "sitecustomize.py").write_text("import stand_in\n\nstand_in.take_over()\n", encoding="utf-8")
    here = Path(__file__).resolve().parent
    return {"PYTHONPATH": os.pathsep.join(map(str, (folder, here.parent, here))), "CRAG_GATE": str(folder / "gate")}
