"""The plan file: which trucks drive what, how often, and with how much luck.

Paths in a plan are relative to the plan's own folder.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from models.record import read_record
from models.spec import Spec
from sim.errors import PlanError, reading
from sim.trial.ground_cache import obstacle_text
from sim.trial.luck import Variation
from terrain import file_name
from terrain.errors import TerrainError
from terrain.request import family_named

Name = Annotated[str, Field(min_length=1, max_length=200)]
MOST_COMBINED = 10
"""Changes whose every combination is made: 2 to this power trucks."""


class ConfigurationEntry(Spec):
    """One truck: a build sheet and the changes made to it, in order."""

    name: Name
    build: Name
    changes: tuple[Name, ...] = ()


class Combine(Spec):
    """Several trucks from one build sheet and a drawer of changes."""

    build: Name
    changes: Annotated[tuple[Name, ...], Field(min_length=1)]
    choose: Literal["each", "all"] = "each"
    """``each``: the build as it is and every change alone; ``all``: every combination of them."""


class FindLimit(Spec):
    """Look for the level that the truck clears half of the time and nine times in ten."""

    low: float
    high: float
    step: Annotated[float, Field(gt=0)] | None = None
    """Between the levels that may be tried; left out, a hundredth of the range."""
    trials: Annotated[int, Field(ge=8, le=2000)] = 60

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.high <= self.low:
            raise ValueError("high must be more than low")
        return self


class ObstacleEntry(Spec):
    """One kind of obstacle, at given levels or with its limit to be found."""

    family: Name
    levels: tuple[float, ...] = ()
    find_limit: FindLimit | None = None
    parameters: dict[str, float] = Field(default_factory=dict)
    """The family's further numbers, as ``slope_deg = 15``."""

    @field_validator("family")
    @classmethod
    def _is_known(cls, family: str) -> str:
        """Told with the file's other faults; whether a ground's file is there shows when it is read."""
        if not file_name.names_file(family):
            try:
                family_named(family)
            except TerrainError as error:
                raise ValueError(f"{error.what}; {error.remedy}") from None
        return family

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if bool(self.levels) == (self.find_limit is not None):
            raise ValueError("give either levels or find_limit")
        if len(set(self.levels)) < len(self.levels):
            raise ValueError("the same level twice")
        return self

    @property
    def text(self) -> str:
        """The obstacle without its level, in one spelling."""
        return obstacle_text(self.family, self.parameters)


class Plan(Spec):
    """A whole study."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Name
    note: str = ""
    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1
    store: Name | None = None
    """File of the results; left out, the plan's own name with ``.sqlite``."""
    baseline: Name | None = None
    """Configuration that the others are compared with; left out, the first."""
    drivers: Annotated[tuple[Name, ...], Field(min_length=1)] = ("steady",)
    repeats: Annotated[int, Field(ge=1, le=1_000_000)] = 40
    """Trials of each configuration at each level; the most of them where a width or verdict may end it earlier."""
    half_width_percent: Annotated[float, Field(gt=0, lt=50)] | None = None
    """Stop repeating a level once the 95 % interval of its success rate is within plus or minus this."""
    stop_when_decided: bool = False
    """Stop repeating pairs whose comparison with the baseline is decided; the error stays at 5 % for the plan."""
    until: Annotated[str, Field(pattern=r"^([01]?\d|2[0-3]):[0-5]\d$")] | None = None
    """Time of day, ``06:30``, at which the study ends."""
    traces: Annotated[int, Field(ge=0)] = 0
    """Repeats of each cell whose motion is recorded."""
    variation: Variation = Variation()
    configuration: tuple[ConfigurationEntry, ...] = ()
    combine: tuple[Combine, ...] = ()
    obstacle: Annotated[tuple[ObstacleEntry, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _has_trucks(self) -> Self:
        if not self.configuration and not self.combine:
            raise ValueError("give at least one [[configuration]] or [[combine]]")
        names = [entry.name for entry in self.configuration]
        if len(set(names)) < len(names):
            raise ValueError("two configurations have the same name")
        return self


def read_plan(path: str | Path) -> tuple[Plan, str]:
    """Read and validate a plan file.

    :returns: The plan and its text as written.
    :raises BuildSheetError, PlanError: Missing, not TOML, an unknown key or a value out of range.
    """
    file = Path(path)
    plan = read_record(Plan, file)
    with reading(file):
        text = file.read_text(encoding="utf-8-sig")
    for entry in plan.combine:
        if entry.choose == "all" and len(entry.changes) > MOST_COMBINED:
            raise PlanError(f"every combination of {len(entry.changes)} changes is {2 ** len(entry.changes)} trucks",
                            file=file, field="combine.changes",
                            remedy=f'Use at most {MOST_COMBINED} changes, or choose = "each"')
    return plan, text


def plan_hash(text: str) -> str:
    """Short content hash of a plan."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def store_path(plan: Plan, file: str | Path) -> Path:
    """Where the results of a plan go."""
    own = Path(file)
    return own.with_suffix(".sqlite") if plan.store is None else own.parent / plan.store


def configurations(plan: Plan) -> Iterator[ConfigurationEntry]:
    """Every truck of a plan; combinations are named by their changes."""
    yield from plan.configuration
    for entry in plan.combine:
        for chosen in _choices(entry):
            stems = [Path(change).stem for change in chosen]
            yield ConfigurationEntry(name=" + ".join(stems) or "as it is", build=entry.build, changes=chosen)


def _choices(entry: Combine) -> Iterator[tuple[str, ...]]:
    sizes = (0, 1) if entry.choose == "each" else range(len(entry.changes) + 1)
    for size in sizes:
        yield from itertools.combinations(entry.changes, size)
