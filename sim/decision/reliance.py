"""What a purchase rests on: the lines, drivers and sides without which its gain would not be worth having."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.decision import sides
from sim.decision.effect import PairedLimits
from sim.decision.runner import Field
from sim.statistics.group_sequential import ERROR

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Prop:
    """One thing that a gain rests on."""

    name: str
    points: float
    """That are left without a line, or that there are with a driver or on a side."""
    where: str

    @property
    def text(self) -> str:
        """As it is said behind "it hangs on"."""
        return f"{self.name} ({self.points:+.1f} points {self.where})"


def props(found: PairedLimits, by_line: Array, drivers: Sequence[str], least: float) -> tuple[Prop, ...]:
    """Find what a gain above ``least`` rests on.

    :param found: Lines, weights and numbers of the cases.
    :param by_line: (lines, n) points that the purchase brings on each line in each case, not weighted.
    :param drivers: (n,) who drove.
    :param least: Smallest gain worth having, points.
    """
    weights, names = found.weights, np.array(drivers)
    gain = weights @ by_line
    rests = []
    for k, line in enumerate(found.lines):
        others = np.delete(np.arange(len(weights)), k)
        if len(others):
            left = float(np.mean(weights[others] @ by_line[others]) / weights[others].sum())
            if left <= least:
                rests.append(Prop(line.name, left, "without it"))
    for name in dict.fromkeys(drivers):
        mean = float(gain[names == name].mean())
        if mean <= least and len(set(drivers)) > 1:
            rests.append(Prop("the driver", mean, f"with the {name} one"))
    by_side = sides.gains(found.lines, gain, found.cases, ERROR, found.rounding)
    rests += [Prop(side, there.value, "there") for side, there in by_side.items() if there.high <= least]
    return tuple(rests)


def drivers(field: Field, found: PairedLimits) -> tuple[str, ...]:
    """(n,) who drove in each case."""
    return tuple(field.searches.driver(number) for number in found.cases)


def told(rests: Sequence[Prop]) -> str:
    """``hangs on`` with its reasons; empty where it rests on nothing by itself."""
    return f"it hangs on {' and '.join(one.text for one in rests)}" if rests else ""
