"""One trial to be done and what it gave, as they travel between plan, workers and store."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from sim.trial.luck import Draw, level_text
from sim.trial.result import RECORD_COLUMNS, Record, Trace, record

__all__ = ["RECORD_COLUMNS", "Cell", "Fault", "Record", "Report", "Task", "Versions", "record"]


@dataclass(frozen=True)
class Versions:
    """What computed a result: a hash of the physics sources, the libraries under them, and the trucks as assembled."""

    code: str
    engine: str
    models: Mapping[str, str] = field(default_factory=dict, compare=False)
    """Content hash of the rigid model by configuration: a sheet drives as the code assembled it, and that code is no
    part of :attr:`code`."""

    def made(self, code: str, engine: str, config: str, model: str) -> bool:
        """Whether a stored row is of these versions."""
        return (code, engine) == (self.code, self.engine) and self.models.get(config, model) == model


@dataclass(frozen=True)
class Task:
    """One trial, by everything its result depends on except the versions."""

    config: str
    """Content hash of the configuration."""
    obstacle: str
    """Family and parameters without the level, as ``ledge-on-slope,slope_deg=15``."""
    level: float
    yard: str
    """Size of truck that the ground is made for, see :mod:`sim.trial.ground_cache`; one for all that are compared."""
    driver: str
    study_seed: int
    repeat: int
    draw: Draw
    keep_trace: bool = False
    """Whether to record the motion; not part of the key."""

    def key(self, versions: Versions) -> str:
        """Identity of the result: equal keys, equal bits."""
        parts = [
            self.config,
            self.obstacle,
            level_text(self.level),
            self.yard,
            self.driver,
            self.study_seed,
            self.repeat,
            self.draw.text(),
            versions.code,
            versions.engine,
            versions.models.get(self.config, ""),
        ]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]

    @property
    def cell(self) -> Cell:
        """The group of repeats this trial belongs to."""
        return Cell(self.config, self.obstacle, self.level, self.driver)


@dataclass(frozen=True, order=True)
class Cell:
    """One configuration at one obstacle and level with one driver: what repeats are counted in."""

    config: str
    obstacle: str
    level: float
    driver: str


@dataclass(frozen=True)
class Report:
    """A finished task: what was found, the motion if asked for, and the time it took."""

    task: Task
    record: Record
    trace: Trace | None
    wall_s: float


@dataclass(frozen=True)
class Fault:
    """A task that a worker could not finish."""

    task: Task
    kind: str
    """``crashed``, ``hung`` or ``raised``."""
    text: str
