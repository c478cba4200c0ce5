"""Simulated trials of the lines that were driven, at several grips, kept in the store like all others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from models.assemble import rigid_model
from models.record import validated
from models.rigid import RigidModel
from models.spec import Sheet
from sim.batch.batch import FixedSupply, Progress
from sim.batch.session import Watch, session
from sim.batch.study import make_task, yard_of
from sim.batch.version import versions_of
from sim.errors import SimError
from sim.reality.observed import Tried
from sim.reality.response import Response, response
from sim.store.store import Store
from sim.trial import driver, ground_cache
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation
from sim.trial.task import Task

GRIPS = (0.7, 0.8, 0.9, 1.0, 1.12, 1.3)
"""Factors on the sheet's grip at which every line is simulated."""


@dataclass(frozen=True)
class Rehearsal:
    """What is simulated for a comparison with reality."""

    trucks: Mapping[str, RigidModel]
    yard: Yard
    driver_name: str
    seed: int
    repeats: int
    """Trials at each grip."""
    grips: tuple[float, ...] = GRIPS

    def tasks_of(self, cell: Tried) -> Iterator[tuple[float, Task]]:
        """Grip factor and task of every trial of a cell; all grips meet the same luck."""
        for repeat in range(self.repeats):
            for grip in self.grips:
                task = make_task(
                    cell.config, cell.obstacle, cell.level, repeat, yard=self.yard, driver_name=self.driver_name,
                    seed=self.seed, variation=Variation(),
                )  # fmt: skip
                yield grip, replace(task, draw=replace(task.draw, grip_scale=task.draw.grip_scale * grip))


def prepare(store: Store, cells: Sequence[Tried], driver_name: str, seed: int, repeats: int) -> Rehearsal:
    """Build the trucks of the log from the sheets that the store keeps, and try their ground.

    :raises SimError: A configuration that the store does not know, or no such driver.
    :raises TerrainError: An obstacle that cannot be made for this size of truck.
    """
    driver.named(driver_name)
    remembered = store.configurations()
    trucks = {}
    for cell in cells:
        if cell.config in trucks:
            continue
        facts = remembered[cell.config].facts if cell.config in remembered else {}
        if "sheet" not in facts:
            raise SimError("the store does not know this truck any more", file=store.path, value=cell.configuration,
                           remedy="Import the log again with its build sheets in place")
        trucks[cell.config] = rigid_model(validated(Sheet, facts["sheet"]))
    yard = yard_of(next(iter(trucks.values())))
    for cell in cells:
        ground_cache.check(cell.obstacle, cell.level, yard.text())
    return Rehearsal(trucks, yard, driver_name, seed, repeats)


def rehearse(
    store: Store, plan: Rehearsal, cells: Iterable[Tried], workers: int, watch: Watch | None = None
) -> Progress:
    """Run what is missing; a second run does nothing."""
    # The same line may stand in several cells, and the ends of a range tell most: outer grips of all lines first.
    tasks = list(dict.fromkeys(task for cell in cells for _, task in plan.tasks_of(cell)))
    known, versions = store.done(), versions_of(plan.trucks)
    missing = [task for task in tasks if task.key(versions) not in known]
    if not missing:
        return Progress(known=len(tasks))
    with session(store, plan.trucks, workers, watch) as here:
        return here.run(FixedSupply(missing))


def responses(store: Store, plan: Rehearsal, cells: Sequence[Tried]) -> list[Response]:
    """Success over grip of every cell, from the trials that are there; invalid ones are left out.

    :raises SimError: A cell of which nothing has been simulated.
    """
    known, now = store.done(), versions_of(plan.trucks)
    found = []
    for cell in cells:
        count = {grip: [0, 0] for grip in plan.grips}
        for grip, task in plan.tasks_of(cell):
            record = known.get(task.key(now))
            if record is not None and record.outcome != "invalid":
                count[grip][0] += record.cleared
                count[grip][1] += 1
        if not any(n for _, n in count.values()):
            raise SimError("nothing of this line has been simulated yet", field=cell.line, value=cell.where,
                           remedy="Run the same command again and let it finish")
        found.append(response(list(count), [k for k, _ in count.values()], [n for _, n in count.values()]))
    return found
