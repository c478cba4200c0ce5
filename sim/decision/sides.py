"""Left and right: which repeats meet the ground mirrored, and in which mix that says something."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sim.decision.obstacle_mix import Line
from sim.statistics.interval import Estimate
from sim.trial.luck import one_sided

SIDES = ("the ground as built", "the ground mirrored")
"""Of even and odd repeats, on obstacles that treat left and right differently."""


def sided(lines: Sequence[Line]) -> bool:
    """Whether any line treats left and right differently; where none does, both halves of the repeats are alike."""
    return any(one_sided(line.obstacle) for line in lines)


def worse(by_side: Mapping[str, Estimate]) -> tuple[str, Estimate] | None:
    """The side on which less is gained; None where sides were not looked at."""
    return min(by_side.items(), key=lambda pair: pair[1].value) if by_side else None
