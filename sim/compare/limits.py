"""How hard an obstacle each truck clears half of the time, and nine times in ten, from the trials of a store."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sim.compare import textbook
from sim.compare.comparison import CellResult, Comparison
from sim.compare.holm import holm
from sim.statistics.interval import Estimate
from sim.statistics.paired import ERROR, FEWEST
from sim.statistics.threshold import Belief
from sim.statistics.two_groups import TwoGroups, two_groups

FEWEST_LEVELS = 4
"""Levels of one obstacle that a limit is read from."""
DRAWS = 20_000
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
    adjusted_p: float = 1.0
    """That there is no difference, from the posterior, read together with all limits of the store (Holm)."""
    sides: tuple[Estimate, Estimate] | None = None
    """``half`` of the trials on the ground as built and on the mirrored one; None where sides are alike."""
    textbook: Mapping[str, Estimate] = field(default_factory=dict)
    """``difference`` by textbook methods, as far as the trials allow them."""
    groups: TwoGroups | None = None
    """Two groups of trials that give up apart, where they are shown."""

    @property
    def word(self) -> str:
        """What the difference shows."""
        if self.difference is None:
            return "baseline"
        if self.trials < FEWEST:
            return "too few trials"
        if self.adjusted_p > ERROR:
            return "no difference shown"
        return "better" if self.difference.value > 0 else "worse"

    @property
    def groups_text(self) -> str:
        """The groups in words; empty where there is one."""
        g = self.groups
        return "" if g is None else (f"two groups: {100 * g.share:.0f} % give up near {g.early:.3g}, the rest near "
                                     f"{g.late:.3g}")


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
    judged = [k for k, limit in enumerate(found) if limit.difference is not None]
    for k, p in zip(judged, holm([found[k].adjusted_p for k in judged]), strict=True):
        found[k] = replace(found[k], adjusted_p=p)
    return found


def _group(cells: Sequence[CellResult], range_: Range, baseline: str) -> list[Limit]:
    beliefs: dict[str, Belief] = {}
    own: dict[str, list[CellResult]] = defaultdict(list)
    for cell in cells:
        belief = beliefs.get(cell.config) or Belief.start(*range_)
        beliefs[cell.config] = belief.seen(cell.level, cell.rate.successes, cell.rate.trials)
        own[cell.config].append(cell)
    return [
        replace(_limit(own[config][0], belief, None if config == baseline else beliefs.get(baseline)),
                sides=_by_side(own[config], range_))
        for config, belief in beliefs.items()
    ]  # fmt: skip


def _by_side(cells: Sequence[CellResult], range_: Range) -> tuple[Estimate, Estimate] | None:
    """Levels cleared half of the time on either side; a level where only one was driven counts for that one."""
    if all(cell.sides is None for cell in cells):
        return None
    beliefs = [Belief.start(*range_), Belief.start(*range_)]
    for cell in cells:
        for k, rate in enumerate(cell.sides or (cell.rate,)):
            beliefs[k] = beliefs[k].seen(cell.level, rate.successes, rate.trials)
    return beliefs[0].limit(0.5), beliefs[1].limit(0.5)


def _limit(cell: CellResult, belief: Belief, baseline: Belief | None) -> Limit:
    apart, p = (None, 1.0) if baseline is None else difference(belief, baseline)
    groups = _groups(belief)
    return Limit(
        name=cell.name,
        config=cell.config,
        obstacle=cell.obstacle,
        unit=cell.unit,
        driver=cell.driver,
        trials=len(belief.trials),
        # Where trials fall into two groups the one smooth curve is wrong, and so would be its interval.
        half=belief.limit(0.5) if groups is None else groups.half,
        ninety=belief.limit(0.9),
        belief=belief,
        doubtful=belief.doubtful,
        difference=apart,
        adjusted_p=p,
        textbook={} if baseline is None else textbook.shifts(baseline, belief),
        groups=groups,
    )


def _groups(belief: Belief) -> TwoGroups | None:
    total = Counter(level for level, _ in belief.trials)
    won = Counter(level for level, cleared in belief.trials if cleared)
    levels = sorted(total)
    found = two_groups(levels, [total[x] for x in levels], [won[x] for x in levels])
    return found if found is not None and found.shown else None


def difference(belief: Belief, baseline: Belief) -> tuple[Estimate, float]:
    """Posterior of the difference of two limits by draws, and its two-sided p; same trials, same digits."""
    rng = np.random.default_rng(0)
    drawn = belief.sample(0.5, DRAWS, rng) - baseline.sample(0.5, DRAWS, rng)
    middle, low, high = np.quantile(drawn, [0.5, 0.025, 0.975])
    p = 2.0 * min(float(np.mean(drawn <= 0.0)), float(np.mean(drawn >= 0.0)))
    return Estimate(float(middle), float(low), float(high)), min(1.0, max(p, 1.0 / DRAWS))
