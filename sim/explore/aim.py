"""What a set-up is to be good at: families of obstacles, each with levels at which the chance to clear counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.decision.obstacle_mix import Line, lines
from sim.errors import SimError
from sim.trial import ground_cache
from sim.trial.ground_cache import Yard

USUAL = ("climb", "side-hill", "descent")
LADDER = (0.92, 1.0, 1.08, 1.16, 1.24)
"""Levels as shares of the limit of the truck as it is, where none are given: from what it mostly clears to what only a
much better truck would (assumed)."""


@dataclass(frozen=True)
class Aim:
    """One objective: the chance to clear a family, averaged over levels."""

    obstacle: str
    levels: tuple[float, ...]
    unit: str

    @property
    def name(self) -> str:
        """As a person would say it."""
        return self.obstacle.partition(",")[0].replace("-", " ")

    @property
    def text(self) -> str:
        """Name with the levels."""
        return f"{self.name} {', '.join(f'{level:g}' for level in self.levels)} {self.unit}"


def parse(wanted: Sequence[str], yard: Yard) -> tuple[Aim | Line, ...]:
    """Read ``family`` or ``family:level,level,...``; a family without levels comes back as a line to look along.

    :raises SimError, TerrainError: Not a family, or levels that are none.
    """
    found: list[Aim | Line] = []
    for text in wanted or USUAL:
        name, colon, levels = text.partition(":")
        if not colon:
            found += lines([name], (), yard)
            continue
        try:
            numbers = tuple(sorted({float(level) for level in levels.split(",")}))
        except ValueError:
            raise SimError("the levels are not numbers", field="aim", value=text, remedy="Write climb:40,45") from None
        for level in numbers:
            ground_cache.check(name, level, yard.text())
        found.append(Aim(name, numbers, ground_cache.unit(name)))
    names = [one.obstacle for one in found]
    if len(set(names)) < len(names):
        raise SimError("the same family twice", field="aim", value=", ".join(names), remedy="Give it once, all levels")
    return tuple(found)


def ladder(line: Line, limit: float) -> Aim:
    """Levels around a limit."""
    steps = {min(max(round(share * limit / line.step) * line.step, line.low), line.high) for share in LADDER}
    return Aim(line.obstacle, tuple(sorted(steps)), line.unit)
