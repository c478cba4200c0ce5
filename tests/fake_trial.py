"""Stand-ins for a trial: a plain logistic of the level decided by the draw, with faults on demand."""

from __future__ import annotations

import math
import os
import signal
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from models.rigid import RigidModel
from sim.trial.luck import Variation, draw
from sim.trial.result import Trace, TrialResult
from sim.trial.task import Task, Versions

VERSIONS = Versions("fake", "none")


@dataclass(frozen=True)
class FakeTruck:
    """A configuration that clears half of the trials at ``limit``."""

    limit: float
    spread: float = 3.0
    lopsided: float = 0.0
    """By so much the limit is lower on mirrored ground."""


@dataclass(frozen=True)
class FakeStudy:
    """Payload of a fake batch: trucks by hash, how long a trial takes, and which trials misbehave."""

    trucks: dict[str, FakeTruck]
    seconds: float = 0.0
    marks: str = ""
    """Folder in which a fault leaves a mark so that it happens once."""
    crash: frozenset[int] = frozenset()
    hang: frozenset[int] = frozenset()
    bad: frozenset[int] = frozenset()
    broken: frozenset[int] = frozenset()
    always: bool = False


def perform(study: FakeStudy, task: Task) -> TrialResult:
    """Clear when a uniform number from the draw is below the logistic of the level."""
    if task.repeat in study.crash and _first(study, task):
        os.kill(os.getpid(), signal.SIGKILL)
    if task.repeat in study.hang and _first(study, task):
        time.sleep(3600)
    if task.repeat in study.broken:
        raise ZeroDivisionError("made to fail")
    time.sleep(study.seconds)
    truck = study.trucks[task.config]
    luck = np.random.default_rng(task.draw.driver_seed).random()
    limit = truck.limit - truck.lopsided * task.draw.mirrored
    chance = 1 / (1 + math.exp((task.level - limit) / truck.spread))
    cleared = bool(luck < chance)
    margin = math.nan if task.repeat in study.bad else 0.3 * (chance - 0.4 * luck)
    return TrialResult(
        outcome="cleared" if cleared else "rolled",
        reason="over the line" if cleared else "tipped back",
        time=5.0 + luck,
        distance=0.5 * chance,
        min_margin=margin,
        margin_p5=margin + 0.01,
        slip=0.1,
        belly_strikes=1,
        peak_current=3.0,
        servo_saturation=0.0,
        energy=9.0,
        max_sink=0.002,
        trace=_trace() if task.keep_trace else None,
    )


def task(config: str = "a", level: float = 30.0, repeat: int = 0, *, seed: int = 1, obstacle: str = "ledge") -> Task:
    """One task of the fake study."""
    luck = draw(Variation(), seed, obstacle, level, repeat)
    return Task(config, obstacle, level, "133x27@24", "steady", seed, repeat, luck)


def tasks(repeats: int, configs: tuple[str, ...] = ("a", "b"), levels: tuple[float, ...] = (28.0, 32.0)) -> list[Task]:
    """Every combination, repeats outermost."""
    return [task(config, level, repeat) for repeat in range(repeats) for level in levels for config in configs]


def _first(study: FakeStudy, task: Task) -> bool:
    if study.always:
        return True
    mark = Path(study.marks) / f"{task.config}-{task.level}-{task.repeat}"
    if mark.exists():
        return False
    mark.touch()
    return True


def _trace() -> Trace:
    n = 5
    return Trace(
        0.02,
        np.arange(n) * 0.02,
        np.zeros((n, 7)),
        np.zeros((n, 10)),
        np.ones((n, 4, 3)),
        np.zeros((n, 4, 3)),
        np.linspace(0.5, 0.1, n),
        np.zeros((n, 4)),
    )


def perform_truck(trucks: Mapping[str, RigidModel], task: Task) -> TrialResult:
    """Stand-in for :func:`sim.trial.perform.perform`: real trucks, whose limit is a tenth of their mass in grams."""
    limit = 100.0 * trucks[task.config].mass
    return perform(FakeStudy({task.config: FakeTruck(limit)}), task)


def perform_slowly(trucks: Mapping[str, RigidModel], task: Task) -> TrialResult:
    """The same, a twentieth of a second each."""
    time.sleep(0.05)
    return perform_truck(trucks, task)


def perform_handbook(trucks: Mapping[str, RigidModel], task: Task) -> TrialResult:
    """The same: it goes over at the handbook's angle on a slope, and climbs a step of its tyre's radius, about."""
    model = trucks[task.config]
    x, _, z = model.cg()
    family = task.obstacle.partition(",")[0]
    angles = {"climb": x / z, "descent": (model.wheelbase - x) / z, "side-hill": 0.5 * min(model.track) / z}
    radius_mm = 1e3 * float(model.origins()[-1, 2])
    limit = math.degrees(math.atan(angles[family])) if family in angles else radius_mm
    return perform(FakeStudy({task.config: FakeTruck(limit, 0.02 * limit)}), task)
