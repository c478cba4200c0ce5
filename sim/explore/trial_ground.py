"""Set-ups driven by real trials: worker processes, one store, luck and unknowns common to all set-ups."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel
from sim.batch.batch import FixedSupply, Progress, StopSwitch, run
from sim.batch.session import PERFORM
from sim.batch.version import versions_of
from sim.batch.worker import Job
from sim.batch.worker_pool import COMPILING_S, Reloadable, WorkerPool
from sim.decision.runner import Stopped
from sim.decision.unknowns import USUAL, Prior, variant
from sim.errors import SimError, make_folder
from sim.explore.aim import Aim
from sim.explore.workshop import Setup
from sim.store.store import Store, StoredTruck
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation, draw
from sim.trial.task import Record, Task, Versions

Array = NDArray[np.float64]
Watch = Callable[[Progress], None]
UNKNOWNS = USUAL
"""Drawn anew in every repeat, the same for all set-ups; the driver is the one that is asked for."""


def draw_unknowns(unknowns: Sequence[Prior], seed: int, repeat: int) -> dict[str, float]:
    """Values of the unknowns in a repeat, percent away from the sheet: normal, cut at two and a half."""
    rng = np.random.default_rng([seed, repeat, 0x6E6F74])
    return {one.name: one.sd * float(np.clip(rng.standard_normal(), -2.5, 2.5)) for one in unknowns}


class _Heard(FixedSupply):
    """A list of tasks that remembers what each gave."""

    def __init__(self, tasks: Sequence[Task]) -> None:
        super().__init__(tasks)
        self.records: dict[Task, Record | None] = {}

    def absorb(self, task: Task, record: Record | None) -> None:
        super().absorb(task, record)
        self.records[task] = record


@dataclass
class TrialGround:
    """A store and workers that drive whatever set-ups come."""

    aims: tuple[Aim, ...]
    yard: Yard
    driver: str
    seed: int
    store: Store
    crew: Reloadable
    made_by: Callable[[Mapping[str, RigidModel]], Versions]
    switch: StopSwitch
    watch: Watch | None = None
    variation: Variation = field(default_factory=Variation)
    unknowns: tuple[Prior, ...] = UNKNOWNS
    run_trials: int = 0
    known_trials: int = 0

    def drive(self, wanted: Sequence[tuple[Setup, int]]) -> Mapping[tuple[str, int], Array]:
        """Drive them; see :class:`sim.explore.proving.Ground`.

        :raises Stopped: Ctrl-C.
        :raises SimError: A trial crashes its worker whatever is done.
        """
        models: dict[str, RigidModel] = {}
        remembered: dict[str, StoredTruck] = {}
        tasks: dict[Task, tuple[str, int, int]] = {}
        for setup, repeat in wanted:
            values = draw_unknowns(self.unknowns, self.seed, repeat)
            truck = variant(setup.truck, values) if values else setup.truck
            models[truck.hash] = truck.model
            remembered[truck.hash] = StoredTruck(truck.hash, truck.name, truck.facts)
            for place, aim in enumerate(self.aims):
                for level in aim.levels:
                    # As in a search for a limit, the luck belongs to the repeat, whatever the level.
                    luck = draw(self.variation, self.seed, aim.obstacle, 0.0, repeat)
                    task = Task(truck.hash, aim.obstacle, level, self.yard.text(), self.driver, self.seed, repeat, luck)
                    tasks[task] = setup.truck.hash, repeat, place
        if not tasks:
            return {}
        self.store.add_configurations(list(remembered.values()))
        self.crew.load(models)
        # Trucks innermost: they drive the same ground in turn.
        order = sorted(tasks, key=lambda task: (task.repeat, task.obstacle, task.level))
        heard = _Heard(order)
        progress = run(heard, self.store, self.made_by(models), self.crew, watch=self.watch, stop=self.switch)
        self.run_trials += progress.done
        self.known_trials += progress.known
        if progress.ending == "interrupted":
            raise Stopped
        if progress.faults:
            fault = progress.faults[0]
            raise SimError(f"a trial cannot be run: {fault.text}", field=fault.task.obstacle, value=fault.task.level,
                           remedy="Leave this family or level out")
        return self._shares(tasks, heard.records)

    def _shares(
        self, tasks: Mapping[Task, tuple[str, int, int]], records: Mapping[Task, Record | None]
    ) -> dict[tuple[str, int], Array]:
        found: dict[tuple[str, int], Array] = {}
        counts = np.array([len(aim.levels) for aim in self.aims], dtype=float)
        for task, (truck, repeat, place) in tasks.items():
            record = records[task]
            void = record is None or record.outcome == "invalid"
            shares = found.setdefault((truck, repeat), np.zeros(len(self.aims)))
            shares[place] += np.nan if void or record is None else float(record.cleared)
        return {key: shares / counts for key, shares in found.items()}


@contextmanager
def opened(
    aims: tuple[Aim, ...], yard: Yard, path: Path, *, workers: int, driver: str, seed: int,
    unknowns: tuple[Prior, ...] = UNKNOWNS, watch: Watch | None = None, perform: str = PERFORM,
    on_device: bool = False,
) -> Iterator[TrialGround]:
    """Start workers, or find the graphics processor, and open (or make) the store.

    :raises StoreError: The store cannot be used.
    :raises SimError: No folder to write to, or no graphics processor.
    """
    make_folder(path.parent)
    switch = StopSwitch()
    with switch.armed(), Store(path, write=True) as store:
        crew, made_by = _on_device() if on_device else (
            WorkerPool(Job(perform, {}, 1024, 0), workers, compiling_s=COMPILING_S), versions_of)
        try:
            yield TrialGround(aims, yard, driver, seed, store, crew, made_by, switch, watch, unknowns=unknowns)
        finally:
            crew.close()


def _on_device() -> tuple[Reloadable, Callable[[Mapping[str, RigidModel]], Versions]]:
    from sim.batch.device import Device, versions_on_device

    return Device({}), versions_on_device
