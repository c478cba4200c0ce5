"""Left and right: which repeats meet the ground mirrored, and in which mix that says something."""

from __future__ import annotations

from collections.abc import Sequence

from sim.compare.sides import side_names
from sim.decision.obstacle_mix import Line
from sim.trial.luck import one_sided


def sides_of(lines: Sequence[Line]) -> tuple[str, ...]:
    """Names of the sides that even and odd repeats meet; none where no line treats left and right differently."""
    sided = [line.obstacle for line in lines if one_sided(line.obstacle)]
    return side_names(sided) if sided else ()
