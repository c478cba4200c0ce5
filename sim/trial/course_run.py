"""One run on a course: driven like any obstacle, then judged gate by gate and scored by the course's rules."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.rigid import RigidModel
from sim.trial import trial
from sim.trial.driver import Driver
from sim.trial.result import TrialResult
from sim.trial.trial import FAIR, Conditions
from terrain.course_build import Course
from terrain.gates import Passage, passages, reverses
from terrain.score import Score, Tally, score

TURN_BACK = 0.05
"""Wheelbases that the truck must lose along the lane for a reverse to count."""


@dataclass(frozen=True)
class CourseRun:
    """What happened on a course, and what it is worth."""

    result: TrialResult
    gates: tuple[Passage, ...]
    tally: Tally
    score: Score


def run(model: RigidModel, course: Course, driver: Driver, seed: int, *, conditions: Conditions = FAIR) -> CourseRun:
    """Drive the course once and score it; equal arguments give equal bits."""
    result = trial.run(model, course.obstacle, driver, seed, conditions=conditions, trace=True)
    found = judge(course, result, model)
    counted = tally(found, result, model.wheelbase)
    return CourseRun(result, found, counted, score(course.rules, counted))


def judge(course: Course, result: TrialResult, model: RigidModel) -> tuple[Passage, ...]:
    """Gate by gate, from the tyres' ground contacts; a marker is touched within half a tyre's width."""
    if result.trace is None:
        raise ValueError("a run is judged by its trace: drive with trace=True")
    half_width = max(float(np.abs(tyre.row_y).max()) for tyre in model.tyres)
    return passages(course.gates, result.trace.wheel_contact[:, :, :2], half_width)


def tally(gates: tuple[Passage, ...], result: TrialResult, wheelbase: float) -> Tally:
    """Count everything that the rules may give points for. The driver is never repositioned: a run ends first."""
    passed = sum(gate.passed_at is not None for gate in gates)
    skipped = sum(gate.skipped for gate in gates)
    along = np.zeros(0) if result.trace is None else result.trace.extra[:, 0]
    return Tally(
        gates_passed=passed,
        gates_skipped=skipped,
        gates_not_reached=len(gates) - passed - skipped,
        markers_touched=sum(gate.touched for gate in gates),
        reverses=reverses(along, TURN_BACK * wheelbase),
        boundaries=int(result.outcome == "slid"),
        rollovers=int(result.outcome == "rolled"),
        time_s=result.time,
    )
