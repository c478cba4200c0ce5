"""How and where trials ended, by place and configuration."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field

import numpy as np

from sim.chart.failure_map import Endings
from sim.compare.comparison import Comparison
from sim.store.store import Store

Place = tuple[str, float, str]
_WHERE, _HOW = ("obstacle", "level", "driver", "config"), ("outcome", "reason", "distance_mm")
COLUMNS = (*_WHERE, *_HOW, "yard", "draw")


@dataclass
class Ended:
    """Endings of one configuration at one place."""

    trials: int = 0
    along: list[float] = field(default_factory=list)
    """mm reached by trials that failed."""
    reasons: list[str] = field(default_factory=list)
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    """By outcome and reason."""


@dataclass
class Ends:
    """All endings of a store, and one ground to draw per place."""

    cells: dict[tuple[Place, str], Ended]
    grounds: dict[Place, tuple[str, str]]
    """Yard and draw of one trial."""

    def at(self, place: Place, names: dict[str, tuple[str, int]]) -> list[Endings]:
        """Endings at a place for the map; ``names`` gives name and series of each configuration."""
        return [
            Endings(name, series, ended.trials, np.array(ended.along) / 1e3, tuple(ended.reasons))
            for config, (name, series) in names.items()
            if (ended := self.cells.get((place, config))) is not None
        ]


def endings(store: Store, comparison: Comparison) -> Ends:
    """Read how every valid trial of the comparison's versions ended."""
    cells: dict[tuple[Place, str], Ended] = defaultdict(Ended)
    grounds: dict[Place, tuple[str, str]] = {}
    rows = store.of(comparison.versions, COLUMNS)
    for obstacle, level, driver, config, outcome, reason, distance, yard, draw in rows:
        place = (obstacle, level, driver)
        grounds.setdefault(place, (yard, draw))
        ended = cells[place, config]
        ended.counts[outcome, reason] += 1
        if outcome == "invalid":
            continue
        ended.trials += 1
        if outcome != "cleared":
            ended.along.append(0.0 if distance is None else distance)
            ended.reasons.append(reason)
    return Ends(dict(cells), grounds)
