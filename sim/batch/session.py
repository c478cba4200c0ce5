"""Workers that fill an open store: the one way in which studies, decisions and rehearsals have their trials run."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from models.rigid import RigidModel
from sim.batch.batch import Progress, StopSwitch, Supply, run
from sim.batch.version import versions, versions_of
from sim.batch.worker import Job
from sim.batch.worker_pool import COMPILING_S, Executor, WorkerPool
from sim.store.store import Store
from sim.trial.task import Report, Task, Versions

PERFORM = "sim.trial.perform:perform"
PATIENCE_S = 1.0
"""s to wait for an answer before one looks whether to stop."""
Watch = Callable[[Progress], None]


@dataclass(frozen=True)
class Elsewhere:
    """A scheduler to hand trials to instead of running them here."""

    scheduler: str
    tls: tuple[str, str, str] | None = None
    """Paths of CA, certificate and key (PEM) for a ``tls://`` address."""
    on: Literal["cpu", "gpu", "any"] = "cpu"
    """Which workers drive: cores, graphics processors, or whoever is there."""


@dataclass(frozen=True)
class Session:
    """Workers and the store that they fill."""

    store: Store
    versions: Versions
    executor: Executor
    switch: StopSwitch
    watch: Watch | None

    def run(self, supply: Supply, until: float | None = None) -> Progress:
        """Run a supply of trials to its end; see :func:`sim.batch.batch.run`."""
        return run(supply, self.store, self.versions, self.executor, until=until, watch=self.watch, stop=self.switch)

    def record(self, tasks: Sequence[Task]) -> int:
        """Drive trials that are in the store once more and keep their motions; returns how many were kept.

        Ctrl-C leaves the rest to the next time.
        """
        waiting, out, kept = list(tasks), 0, 0
        while out or (waiting and not self.switch.asked):
            while waiting and self.executor.free() and not self.switch.asked:
                self.executor.give(waiting.pop(0))
                out += 1
            answers = self.executor.collect(PATIENCE_S)
            out -= len(answers)
            reports = [answer for answer in answers if isinstance(answer, Report)]
            self.store.add(reports, self.versions)
            kept += len(reports)
        return kept


@contextmanager
def session(
    store: Store, trucks: Mapping[str, RigidModel], workers: int, watch: Watch | None = None, *, niceness: int = 0,
    watchdog_s: float = 120.0, memory_mb: int = 1024, elsewhere: Elsewhere | None = None, on_device: bool = False,
) -> Iterator[Session]:
    """Start workers: here, on the graphics processor or behind a scheduler; listen for Ctrl-C until the block ends.

    :param store: Open for writing.
    :param trucks: Rigid models by hash, all that the trials may name.
    :raises SimError: Workers cannot start.
    """
    job = Job(PERFORM, trucks, memory_mb, niceness)
    switch = StopSwitch()
    with switch.armed():
        executor, made_by = _executor(job, workers, watchdog_s, elsewhere, on_device)
        try:
            yield Session(store, made_by, executor, switch, watch)
        finally:
            executor.close()


def _executor(
    job: Job, workers: int, watchdog_s: float, elsewhere: Elsewhere | None, on_device: bool
) -> tuple[Executor, Versions]:
    if on_device:
        from sim.batch.device import Device, versions_on_device

        return Device(job.payload), versions_on_device(job.payload)
    made_by = versions_of(job.payload)
    if elsewhere is None:
        return WorkerPool(job, workers, watchdog_s=watchdog_s, compiling_s=COMPILING_S), made_by
    from sim.batch.cluster import Certificates, Cluster

    certificates = Certificates(*elsewhere.tls) if elsewhere.tls else None
    if elsewhere.on != "cpu":
        from sim.batch.device import versions_on_device
        from sim.batch.packets import PacketCluster, versions_anywhere

        key = versions_on_device if elsewhere.on == "gpu" else versions_anywhere
        return PacketCluster(elsewhere.scheduler, job, versions(), on=elsewhere.on, watchdog_s=watchdog_s,
                             certificates=certificates), key(job.payload)  # fmt: skip
    return Cluster(elsewhere.scheduler, job, versions(), watchdog_s=watchdog_s, certificates=certificates), made_by
