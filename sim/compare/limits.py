"""How hard an obstacle each truck clears half of the time, and nine times in ten, from the trials of a store."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.compare.comparison import CellResult, Comparison
from sim.statistics.interval import Estimate
from sim.statistics.threshold import Belief

FEWEST_LEVELS = 4
"""Levels of one obstacle that a limit is read from."""
DRAWS = 4000
Range = tuple[float, float]


@dataclass(frozen=True)
class Limit:
    """The limit of one truck on one kind of obstacle."""

    name: str
    config: str
    obstacle: str
    unit: str
    driver: str
    trials: int
    half: Estimate
    """Level cleared half of the time, with its 95 % credible interval; infinite ends lie beyond what was tried."""
    ninety: Estimate
    """Level cleared nine times in ten."""
    belief: Belief
    doubtful: bool
    """The trials do not look like a curve that falls once; read the success rates instead."""
    difference: Estimate | None
    """Of ``half`` to the baseline's; the two searches are taken as independent."""

    @property
    def word(self) -> str:
        """What the difference shows."""
        if self.difference is None:
            return "baseline"
        if self.difference.low > 0:
            return "better"
        return "worse" if self.difference.high < 0 else "no difference shown"


def limits(comparison: Comparison) -> list[Limit]:
    """Read limits off every obstacle that was driven at :data:`FEWEST_LEVELS` levels or more.

    Beyond the range that was searched, or else driven, an interval has an open end.
    """
    groups: dict[tuple[str, str], list[CellResult]] = defaultdict(list)
    for cell in comparison.cells:
        groups[cell.obstacle, cell.driver].append(cell)
    found = []
    for (obstacle, _), cells in groups.items():
        levels = [cell.level for cell in cells]
        if len(set(levels)) >= FEWEST_LEVELS:
            range_ = comparison.searched.get(obstacle, (min(levels), max(levels)))
            found += _group(cells, range_, comparison.baseline.hash)
    return found


def _group(cells: Sequence[CellResult], range_: Range, baseline: str) -> list[Limit]:
    beliefs: dict[str, Belief] = {}
    first: dict[str, CellResult] = {}
    for cell in cells:
        belief = beliefs.get(cell.config) or Belief.start(*range_)
        beliefs[cell.config] = belief.seen(cell.level, cell.rate.successes, cell.rate.trials)
        first.setdefault(cell.config, cell)
    return [_limit(first[config], belief, None if config == baseline else beliefs.get(baseline))
            for config, belief in beliefs.items()]


def _limit(cell: CellResult, belief: Belief, baseline: Belief | None) -> Limit:
    return Limit(
        name=cell.name,
        config=cell.config,
        obstacle=cell.obstacle,
        unit=cell.unit,
        driver=cell.driver,
        trials=len(belief.trials),
        half=belief.limit(0.5),
        ninety=belief.limit(0.9),
        belief=belief,
        doubtful=belief.doubtful,
        difference=None if baseline is None else _difference(belief, baseline),
    )


def _difference(belief: Belief, baseline: Belief) -> Estimate:
    """Posterior of the difference by draws; seeded, so that the same trials give the same digits."""
    rng = np.random.default_rng(0)
    drawn = belief.sample(0.5, DRAWS, rng) - baseline.sample(0.5, DRAWS, rng)
    middle, low, high = np.quantile(drawn, [0.5, 0.025, 0.975])
    return Estimate(float(middle), float(low), float(high))
