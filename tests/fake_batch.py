"""A whole batch of stand-in trials as a program of its own, to be killed: ``fake_batch.py STORE REPEATS WORKERS``."""

from __future__ import annotations

import sys
from pathlib import Path

import fake_trial
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.batch import batch
from sim.batch.adaptive import ArmSupply, LimitArm
from sim.batch.batch import FixedSupply, StopSwitch, Supply
from sim.batch.worker import Job
from sim.batch.worker_pool import WorkerPool
from sim.store.store import Store

STUDY = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(33.0)}, seconds=0.004, bad=frozenset({7}))
LEVELS = tuple(float(level) for level in range(15, 50))


def supply(repeats: int) -> Supply:
    """A list of tasks, or with 0 repeats two searches of limits."""
    if repeats:
        return FixedSupply(fake_trial.tasks(repeats))
    return ArmSupply([LimitArm(config, LEVELS, fake_trial.task, 40) for config in "ab"])


def main() -> None:
    """Run it to the end, or until killed or interrupted."""
    path, repeats, workers = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    switch = StopSwitch()
    with switch.armed(), Store(path, write=True) as store:
        crew = WorkerPool(Job("fake_trial:perform", STUDY, 4096, 0), workers, watchdog_s=60)
        try:
            print(*crew.pids(), flush=True)
            progress = batch.run(supply(repeats), store, VERSIONS, crew, stop=switch)
        finally:
            crew.close()
    print(f"reported {progress.done} {progress.ending}", flush=True)


if __name__ == "__main__":
    main()
