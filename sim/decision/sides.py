"""Left and right: which repeats meet the ground mirrored, in which mix that says something, and what each gains."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sim.compare.sides import side_names
from sim.decision.obstacle_mix import Line
from sim.statistics.group_sequential import part
from sim.statistics.interval import Estimate
from sim.trial.luck import one_sided

FEWEST = 4
"""Repeats under which nothing is said of sides."""


def sides_of(lines: Sequence[Line]) -> tuple[str, ...]:
    """Names of the sides that even and odd repeats meet; none where no line treats left and right differently."""
    sided = [line.obstacle for line in lines if one_sided(line.obstacle)]
    return side_names(sided) if sided else ()


def gains(
    lines: Sequence[Line], gain: NDArray[np.float64], cases: Sequence[int], level: float, floor: float
) -> dict[str, Estimate]:
    """Gain in the repeats that met one-sided ground as it is built, and in the odd ones that met it mirrored.

    :param gain: (n,) of each repeat.
    :param cases: (n,) their numbers.
    :param level: Two-sided.
    :param floor: Least standard deviation to believe in.
    :returns: By the sides' names; none where no line has sides, or too few repeats say anything.
    """
    odd = np.array(cases) % 2 == 1
    if len(gain) < FEWEST or odd.all() or not odd.any():
        return {}
    return {side: part(gain, here, level, floor) for side, here in zip(sides_of(lines), (~odd, odd), strict=False)}
