"""The arms of a study, as its plan asks for them."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from sim.batch.adaptive import Arm, LimitArm, MakeTask, PairsArm, WidthArm
from sim.batch.plan import FindLimit, ObstacleEntry
from sim.batch.study import Study, make_task
from sim.trial.task import Task

ERROR = 0.05
"""Chance that a study which stops when decided calls any difference between trucks that are alike."""
STEPS = 100
"""Levels in the range of a limit search, unless the plan says otherwise."""


def arms(study: Study) -> list[Arm]:
    """Every question of a study, by obstacle, level and driver."""
    found: list[Arm] = []
    for entry in study.plan.obstacle:
        for name in study.plan.drivers:
            make = _maker(study, entry, name)
            if entry.find_limit is not None:
                found += _limits(study, entry.find_limit, make)
            for level in entry.levels:
                found += _at_level(study, level, make)
    return found


def pair_error(study: Study) -> float:
    """Error of one comparison, so that all of a study's together keep to :data:`ERROR` (Bonferroni)."""
    levels = sum(len(entry.levels) for entry in study.plan.obstacle)
    return ERROR / max(1, levels * len(study.plan.drivers) * (len(study.trucks) - 1))


def limit_levels(limit: FindLimit) -> tuple[float, ...]:
    """Levels that a limit search may try."""
    step = limit.step or (limit.high - limit.low) / STEPS
    count = int((limit.high - limit.low) / step + 1e-9)
    return tuple(round(float(x), 9) for x in limit.low + step * np.arange(count + 1))


def _limits(study: Study, limit: FindLimit, make: MakeTask) -> Iterator[Arm]:
    for truck in study.trucks:
        yield LimitArm(truck.hash, limit_levels(limit), make, limit.trials)


def _at_level(study: Study, level: float, make: MakeTask) -> Iterator[Arm]:
    plan = study.plan
    hashes = [truck.hash for truck in study.trucks]
    if plan.stop_when_decided and len(hashes) > 1:
        baseline = study.baseline.hash
        others = tuple(h for h in hashes if h != baseline)
        yield PairsArm(baseline, others, level, make, plan.repeats, pair_error(study))
        return
    width = 0.0 if plan.half_width_percent is None else 0.01 * plan.half_width_percent
    for config in hashes:
        yield WidthArm(config, level, make, plan.repeats, width)


def _maker(study: Study, entry: ObstacleEntry, driver_name: str) -> MakeTask:
    return partial(_task, study, entry.text, driver_name)


def _task(study: Study, obstacle: str, driver_name: str, config: str, level: float, repeat: int) -> Task:
    return make_task(
        config,
        obstacle,
        level,
        repeat,
        yard=study.yard,
        driver_name=driver_name,
        seed=study.plan.seed,
        variation=study.plan.variation,
        keep_trace=repeat < study.plan.traces,
    )
