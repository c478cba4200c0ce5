"""Attempts gathered by line and configuration: what was tried how often, and how often it went."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.errors import SimError
from sim.reality.attempt_log import Logged
from sim.statistics.interval import Rate, wilson
from sim.trial.ground_cache import with_level


@dataclass(frozen=True)
class Tried:
    """One configuration on one line."""

    line: str
    obstacle: str
    level: float
    surface: str
    config: str
    """Hash."""
    configuration: str
    """Name."""
    successes: int
    tries: int
    simulated: bool = False

    @property
    def family(self) -> str:
        """Family of the obstacle."""
        return self.obstacle.partition(",")[0]

    @property
    def where(self) -> str:
        """The obstacle as a person writes it."""
        return with_level(self.obstacle, self.level)

    @property
    def rate(self) -> Rate:
        """Success rate with its 95 % interval."""
        return wilson(self.successes, self.tries)


def tried(attempts: Sequence[Logged], driver: str | None = None) -> list[Tried]:
    """Gather attempts; void ones are left out.

    :raises SimError: More than one driver in the log and none chosen, or nobody of that name.
    """
    counted = [entry for entry in attempts if entry.attempt.counts]
    people = sorted({entry.attempt.driver for entry in counted})
    if driver is not None and driver not in people:
        raise SimError("nobody of that name in the log", field="driver", value=driver,
                       remedy=f"In the log: {', '.join(people) or 'nobody'}")
    if driver is None and len(people) > 1:
        raise SimError("several people drove, and skill is a person's own", field="driver",
                       remedy=f"Choose one of: {', '.join(people)}")
    groups: dict[tuple[str, str, float, str, str], list[Logged]] = {}
    for entry in counted:
        a = entry.attempt
        if driver in (None, a.driver):
            groups.setdefault((a.line, a.obstacle, a.level, a.surface, entry.config), []).append(entry)
    return [
        Tried(line, obstacle, level, surface, config, some[0].attempt.configuration,
              sum(e.attempt.cleared for e in some), len(some), any(e.attempt.simulated for e in some))
        for (line, obstacle, level, surface, config), some in groups.items()
    ]


def how_little(rate: Rate) -> str:
    """Say in plain words how much a count of tries says."""
    k, n, low, high = rate.successes, rate.trials, 100 * rate.low, 100 * rate.high
    span = f"anything from {low:.0f} % to {high:.0f} % of tries"
    if n == 0:
        return "no tries yet"
    if n <= 3:
        return f"{k} of {n} says next to nothing: {span} would fit"
    if high - low > 40:
        return f"{k} of {n} says little: {span} would fit"
    if high - low > 20:
        return f"{k} of {n}: {low:.0f} % to {high:.0f} %"
    return f"{k} of {n} is well known: {low:.0f} % to {high:.0f} %"


def tries_for(half_width: float) -> int:
    """Tries after which a rate near one half is known to plus or minus this share at 95 % (normal approximation)."""
    return round(0.25 * (1.959964 / half_width) ** 2)
