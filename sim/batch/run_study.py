"""A study carried out: its trucks and plan remembered, its trials given out, its results kept."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from sim.batch.adaptive import ArmSupply
from sim.batch.adaptive_plan import arms
from sim.batch.batch import FixedSupply, Progress, Supply
from sim.batch.plan import plan_hash
from sim.batch.session import Elsewhere, Watch, session
from sim.batch.study import Study, deadline, fixed_count, fixed_tasks
from sim.batch.telling import telling_tasks
from sim.batch.version import versions_of
from sim.store.store import Store

WORKER_MB = 1024
"""A worker above this is replaced, unless told otherwise."""


def run_study(
    study: Study, path: Path, *, workers: int, niceness: int = 0, watchdog_s: float = 120.0, memory_mb: int = WORKER_MB,
    elsewhere: Elsewhere | None = None, on_device: bool = False, watch: Watch | None = None,
) -> Progress:
    """Run what is missing of a study into a store: on this machine, its graphics processor or behind a scheduler.

    :raises StoreError: The store cannot be used or written.
    :raises SimError: Workers cannot start.
    """
    with Store(path, write=True) as store:
        store.add_configurations(study.remembered())
        store.add_plan(plan_hash(study.text), study.plan.name, study.text)
        with session(store, study.payload, workers, watch, niceness=niceness, watchdog_s=watchdog_s,
                     memory_mb=memory_mb, elsewhere=elsewhere, on_device=on_device) as here:  # fmt: skip
            progress = here.run(supply_of(study), deadline(study.plan, datetime.now()))
            if progress.ending == "finished":
                here.record(telling_tasks(study, store, here.versions))
            return progress


def of_others(study: Study, path: Path) -> int:
    """Trials in a store, if it is there, that other versions of the physics or of the study's trucks computed."""
    if not path.exists():
        return 0
    with Store(path) as store:
        return store.of_others(versions_of(study.payload))


def supply_of(study: Study) -> Supply:
    """Where a study's trials come from: a plain list, or arms that look at results before they ask for more."""
    plan = study.plan
    if not plan.stop_when_decided and plan.half_width_percent is None and not any(e.find_limit for e in plan.obstacle):
        return FixedSupply(fixed_tasks(study), fixed_count(study))
    return ArmSupply(arms(study))
