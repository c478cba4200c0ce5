"""What a study will take: trials, time, disk, memory, from a short measured probe."""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

from sim.batch.batch import FixedSupply
from sim.batch.run_study import WORKER_MB, supply_of
from sim.batch.study import Study, make_task
from sim.batch.version import versions, versions_of
from sim.store.store import Store
from sim.trial import perform
from sim.trial.luck import draw
from sim.trial.task import Task
from terrain.pool import LIMIT_MB

BYTES_PER_TRIAL = 900
"""Measured: a row with its key and index in a store of 100,000 trials."""
OWN_MB = 300
"""MB. Measured: 285 MB in the process that gives trials out, with a plan of 500 trucks of 21 parts."""
PART_MB = 0.002
"""Of each part of each truck, in that process. Measured: 1,203 MB with 500 trucks of 1,021 parts."""
BYTES_PER_TRACE = 60_000
"""Typical recorded motion of 10 s, compressed."""


def most_memory_mb(study: Study, workers: int, each_mb: int) -> float:
    """Bound on the memory of a batch: a worker above its share is replaced, grounds have theirs in common."""
    parts = sum(len(truck.configuration.sheet.parts) for truck in study.trucks)
    return OWN_MB + PART_MB * parts + LIMIT_MB + workers * each_mb


@dataclass(frozen=True)
class Demand:
    """Demands of a study; of one with an open end, the most it can take."""

    trials: int
    known: int
    """Of them in the store already."""
    workers: int
    probed: int
    seconds_per_trial: float | None
    seconds: float
    disk_mb: float
    memory_mb: float
    """As probed; without a probe, NaN."""
    most_memory_mb: float


def estimate(study: Study, probe: int, workers: int) -> Demand:
    """Count a study's trials and time ``probe`` trials of each obstacle in this process.

    The first trial also compiles; it is run once more before the clock starts.
    """
    known, left = _standing(study)
    total = known + left
    seconds, probed, memory = _probe(study, probe)
    levels = sum(max(1, len(entry.levels)) for entry in study.plan.obstacle)
    cells = levels * len(study.trucks) * len(study.plan.drivers)
    disk = (total * BYTES_PER_TRIAL + cells * min(study.plan.traces, study.plan.repeats) * BYTES_PER_TRACE) / 1e6
    time_needed = float("nan") if seconds is None else left * seconds / workers
    return Demand(total, known, workers, probed, seconds, time_needed, disk, (workers + 1) * memory,
                  most_memory_mb(study, workers, WORKER_MB))


def _standing(study: Study) -> tuple[int, int]:
    """Trials in the store already and trials to come, counted and not gone through one by one."""
    supply = supply_of(study)
    if not study.store.exists():
        return 0, supply.left()
    here = versions_of(study.payload)
    with Store(study.store) as store:
        if isinstance(supply, FixedSupply):
            known = sum(_asked(study, trial.task) and trial.key == trial.task.key(here) for trial in store.trials())
            return known, supply.left() - known
        done, known = store.done(), 0
    while (task := supply.next()) is not None:
        record = done.get(task.key(here))
        if record is not None:
            known += 1
            supply.absorb(task, record)
    return known, supply.left()


def _asked(study: Study, task: Task) -> bool:
    """Whether a plan at given levels asks for a stored trial."""
    plan = study.plan
    places = {(entry.text, level) for entry in plan.obstacle for level in entry.levels}
    return (
        (task.obstacle, task.level) in places and task.config in study.payload and task.driver in plan.drivers
        and task.repeat < plan.repeats and task.study_seed == plan.seed and task.yard == study.yard.text()
        and task.draw == draw(plan.variation, plan.seed, task.obstacle, task.level, task.repeat)
    )  # fmt: skip


def _probe(study: Study, probe: int) -> tuple[float | None, int, float]:
    if probe == 0:
        return None, 0, float("nan")
    payload = study.payload
    truck = study.trucks[0]
    tasks = []
    for entry in study.plan.obstacle:
        limit = entry.find_limit
        level = entry.levels[len(entry.levels) // 2] if limit is None else 0.5 * (limit.low + limit.high)
        for repeat in range(probe):
            tasks.append(
                make_task(truck.hash, entry.text, level, repeat, yard=study.yard, driver_name=study.plan.drivers[0],
                          seed=study.plan.seed, variation=study.plan.variation)
            )
    perform.perform(payload, tasks[0])
    versions()
    began = time.perf_counter()
    for task in tasks:
        perform.perform(payload, task)
    return (time.perf_counter() - began) / len(tasks), len(tasks), _peak_mb()


def _peak_mb() -> float:
    """Largest memory of this process so far, MB."""
    try:
        import resource
    except ImportError:
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2**20 if sys.platform == "darwin" else peak / 2**10
