"""Carrying out one task: the truck and ground it names, with its luck, handed to the trial.

This is what a worker process calls. Everything a batch knows about physics is behind :func:`perform`; a batch can
be given any other callable of the same form.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from models.rigid import RigidModel
from sim.physics.engine_compiled import TreeEngine
from sim.physics.simulation import EngineMaker
from sim.trial import driver, ground_cache, trial
from sim.trial.luck import Draw
from sim.trial.result import TrialResult
from sim.trial.task import Task
from sim.trial.trial import Conditions

Trucks = Mapping[str, RigidModel]
"""Configurations of a study by their content hash: sent to every worker once."""


def perform(trucks: Trucks, task: Task, engine: EngineMaker = TreeEngine) -> TrialResult:
    """Run the trial that a task describes; the same task gives the same bits in any process."""
    luck = task.draw
    return trial.run(
        trucks[task.config],
        ground_cache.ground(task.obstacle, task.level, task.yard, luck.roughness_mm, luck.rock_seed, luck.mirrored),
        driver.named(task.driver), luck.driver_seed, conditions=conditions(luck), trace=task.keep_trace, engine=engine,
    )


def conditions(luck: Draw) -> Conditions:
    """The luck of a draw in SI."""
    x, y, z = luck.cg_mm
    return Conditions(
        offset=1e-3 * luck.offset_mm,
        heading=math.radians(luck.heading_deg),
        grip_scale=luck.grip_scale,
        voltage_scale=luck.voltage_scale,
        cg_shift=(1e-3 * x, 1e-3 * y, 1e-3 * z),
    )
