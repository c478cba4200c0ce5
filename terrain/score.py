"""Points of a run on a course by the course's own rules."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.course_file import Rules


@dataclass(frozen=True)
class Tally:
    """What happened on a run, counted."""

    gates_passed: int = 0
    gates_skipped: int = 0
    gates_not_reached: int = 0
    markers_touched: int = 0
    reverses: int = 0
    boundaries: int = 0
    repositions: int = 0
    rollovers: int = 0
    time_s: float = 0.0


@dataclass(frozen=True)
class Score:
    """Points of one run; fewer is better."""

    points: float
    lines: tuple[tuple[str, int, float], ...]
    """(what, how often, points) of everything that counted."""
    out: bool
    """The run was over by points or by time."""


def score(rules: Rules, tally: Tally) -> Score:
    """Add up a run."""
    late = int(tally.time_s > rules.time_limit_s)
    counted = (
        ("gate passed", tally.gates_passed, rules.gate_passed),
        ("gate skipped", tally.gates_skipped, rules.gate_skipped),
        ("gate not reached", tally.gates_not_reached, rules.gate_not_reached),
        ("marker touched", tally.markers_touched, rules.marker_touched),
        ("reverse", tally.reverses, rules.reverse),
        ("out of bounds", tally.boundaries, rules.boundary),
        ("reposition", tally.repositions, rules.reposition),
        ("rollover", tally.rollovers, rules.rollover),
        ("out of time", late, rules.out_of_time),
    )
    lines = tuple((what, count, count * each) for what, count, each in counted if count)
    points = sum(value for _, _, value in lines)
    penalties = sum(value for _, _, value in lines if value > 0.0)
    out = bool(late) or (rules.out_at is not None and penalties >= rules.out_at)
    return Score(points, lines, out)
