"""A study carried out: workers started, trials given out, results kept, the interrupt listened for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sim.batch.adaptive import ArmSupply
from sim.batch.adaptive_plan import arms
from sim.batch.batch import FixedSupply, Progress, StopSwitch, Supply, run
from sim.batch.plan import plan_hash
from sim.batch.study import Study, deadline, fixed_tasks
from sim.batch.version import versions
from sim.batch.worker import Job
from sim.batch.worker_pool import Crew, Hands
from sim.store.store import Store

PERFORM = "sim.trial.perform:perform"


@dataclass(frozen=True)
class Elsewhere:
    """A scheduler to hand trials to instead of running them here."""

    scheduler: str
    tls: tuple[str, str, str] | None = None
    """Paths of CA, certificate and key (PEM) for a ``tls://`` address."""


def run_study(
    study: Study,
    path: Path,
    *,
    workers: int,
    niceness: int = 0,
    watchdog_s: float = 120.0,
    memory_mb: int = 1024,
    elsewhere: Elsewhere | None = None,
    watch: Callable[[Progress], None] | None = None,
) -> Progress:
    """Run what is missing of a study into a store, on this machine's processes or behind a scheduler.

    :raises StoreError: The store cannot be used or written.
    :raises SimError: Workers cannot start.
    """
    job = Job(PERFORM, study.payload, memory_mb, niceness)
    switch = StopSwitch()
    with switch.armed(), Store(path, write=True) as store:
        store.add_configurations(study.remembered())
        store.add_plan(plan_hash(study.text), study.plan.name, study.text)
        supply = supply_of(study)
        hands = _hands(job, workers, watchdog_s, elsewhere)
        try:
            until = deadline(study.plan, datetime.now())
            return run(supply, store, versions(), hands, until=until, watch=watch, stop=switch)
        finally:
            hands.close()


def _hands(job: Job, workers: int, watchdog_s: float, elsewhere: Elsewhere | None) -> Hands:
    if elsewhere is None:
        return Crew(job, workers, watchdog_s=watchdog_s)
    from sim.batch.cluster import Certificates, Cluster

    certificates = Certificates(*elsewhere.tls) if elsewhere.tls else None
    return Cluster(elsewhere.scheduler, job, versions(), watchdog_s=watchdog_s, certificates=certificates)


def supply_of(study: Study) -> Supply:
    """Where a study's trials come from: a plain list, or arms that look at results before they ask for more."""
    plan = study.plan
    if not plan.stop_when_decided and plan.half_width_percent is None and not any(e.find_limit for e in plan.obstacle):
        return FixedSupply(fixed_tasks(study))
    return ArmSupply(arms(study))
