"""A plan made ready to run: its trucks assembled, its ground checked, its tasks listed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from models.rigid import RigidModel
from sim.batch.plan import Plan, configurations, read_plan, store_path
from sim.errors import PlanError
from sim.store.store import StoredTruck
from sim.trial import driver, ground_cache
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation, draw
from sim.trial.task import Task
from sim.trial.truck import Truck, load_truck
from terrain import file_name


@dataclass(frozen=True)
class Study:
    """A plan with its trucks."""

    plan: Plan
    text: str
    file: Path
    store: Path
    trucks: tuple[Truck, ...]
    yard: Yard

    @property
    def payload(self) -> dict[str, RigidModel]:
        """What workers need: rigid models by hash."""
        return {truck.hash: truck.model for truck in self.trucks}

    @property
    def baseline(self) -> Truck:
        """Truck that the others are compared with."""
        return next((t for t in self.trucks if t.name == self.plan.baseline), self.trucks[0])

    def remembered(self) -> list[StoredTruck]:
        """The trucks as the store keeps them."""
        return [StoredTruck(truck.hash, truck.name, truck.facts) for truck in self.trucks]


def prepare(file: str | Path) -> Study:
    """Read a plan, load its trucks and try its ground.

    :raises BuildSheetError, TerrainError, SimError: Anything in the plan or in a file it names that cannot be used.
    """
    path = Path(file)
    plan, text = read_plan(path)
    plan = _with_files_found(plan, path.parent)
    trucks = []
    for entry in configurations(plan):
        changes = [path.parent / change for change in entry.changes]
        trucks.append(load_truck(path.parent / entry.build, changes, name=entry.name))
    _check_names(plan, trucks, path)
    for name in plan.drivers:
        driver.named(name)
    yard = yard_of(trucks[0].model)
    study = Study(plan, text, path, store_path(plan, path), tuple(trucks), yard)
    _check_ground(study)
    return study


def _with_files_found(plan: Plan, folder: Path) -> Plan:
    """Grounds and courses by their place on this machine and a hash of what they hold.

    As builds are, they are looked for beside the plan, and one that has changed is another obstacle.
    """
    entries = []
    for entry in plan.obstacle:
        named = file_name.names_file(entry.family)
        entries.append(entry.model_copy(update={"family": _found(folder / entry.family)}) if named else entry)
    return plan.model_copy(update={"obstacle": tuple(entries)})


def _found(file: Path) -> str:
    name = str(file.resolve())
    if "," in name or file_name.HASH_MARK in name.removesuffix(file.name):
        raise PlanError("a comma or # in the path", field="obstacle", value=name, remedy="Move the file elsewhere")
    return file_name.full_name(name)


def yard_of(model: RigidModel) -> Yard:
    """Truck size that the ground is made for: that of the first truck, and then the same for all."""
    radius = float(max(model.tyres[0].row_radius))
    return Yard(1e3 * model.wheelbase, 1e3 * radius, model.scale)


def make_task(
    config: str, obstacle: str, level: float, repeat: int, *, yard: Yard, driver_name: str, seed: int,
    variation: Variation, keep_trace: bool = False,
) -> Task:
    """One trial with its luck drawn."""
    luck = draw(variation, seed, obstacle, level, repeat)
    return Task(config, obstacle, level, yard.text(), driver_name, seed, repeat, luck, keep_trace)


def fixed_tasks(study: Study) -> Iterator[Task]:
    """Every trial at given levels; repeats outermost, so that a study cut short is narrow everywhere alike.

    Trucks are innermost: they drive the same ground in turn.
    """
    plan = study.plan
    for repeat in range(plan.repeats):
        for entry in plan.obstacle:
            for level in entry.levels:
                for name in plan.drivers:
                    for truck in study.trucks:
                        yield make_task(
                            truck.hash,
                            entry.text,
                            level,
                            repeat,
                            yard=study.yard,
                            driver_name=name,
                            seed=plan.seed,
                            variation=plan.variation,
                            keep_trace=repeat < plan.traces,
                        )


def fixed_count(study: Study) -> int:
    """How many trials at given levels there are, without making them."""
    plan = study.plan
    return plan.repeats * sum(len(entry.levels) for entry in plan.obstacle) * len(plan.drivers) * len(study.trucks)


def deadline(plan: Plan, now: datetime) -> float | None:
    """Moment (POSIX time) of the plan's ``until``: the next time the clock shows it."""
    if plan.until is None:
        return None
    hour, minute = (int(part) for part in plan.until.split(":"))
    end = now.replace(hour=hour, minute=minute, second=0, microsecond=0)
    return (end if end > now else end + timedelta(days=1)).timestamp()


def _check_names(plan: Plan, trucks: Sequence[Truck], path: Path) -> None:
    hashes: dict[str, str] = {}
    for truck in trucks:
        other = hashes.setdefault(truck.hash, truck.name)
        if other != truck.name:
            raise PlanError(f'"{truck.name}" and "{other}" are the same truck', file=path, field="configuration",
                            remedy="Remove one of the two")
    names = [truck.name for truck in trucks]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise PlanError("two configurations have the same name", file=path, field="configuration", value=twice,
                        remedy="Give each its own name")
    if plan.baseline is not None and plan.baseline not in names:
        raise PlanError("no such configuration", file=path, field="baseline", value=plan.baseline,
                        remedy=f"Choose one of: {', '.join(names)}")


def _check_ground(study: Study) -> None:
    seen: set[str] = set()
    for entry in study.plan.obstacle:
        if entry.text in seen:
            raise PlanError("the same obstacle twice", file=study.file, field="obstacle", value=entry.text,
                            remedy="Put all its levels into one [[obstacle]]")
        seen.add(entry.text)
        limit = entry.find_limit
        for level in entry.levels if limit is None else (limit.low, limit.high):
            ground_cache.check(entry.text, level, study.yard.text())


