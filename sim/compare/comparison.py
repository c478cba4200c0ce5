"""What a store shows: success rates and margins of every configuration, and paired differences to one of them."""

from __future__ import annotations

import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from sim.compare import holm
from sim.errors import SimError
from sim.statistics.interval import Estimate, Rate, paired_median, quantile, wilson
from sim.statistics.paired import PairTable, Verdict, paired_difference, tabulate, verdict
from sim.store.store import Store, StoredTruck
from sim.trial import ground_cache
from sim.trial.task import Versions
from terrain import file_name


class Pair(NamedTuple):
    """What two trials must share to be a pair: the luck they met."""

    seed: int
    repeat: int
    draw: str


class Shot(NamedTuple):
    """One trial, as far as a comparison cares."""

    cleared: bool
    margin_deg: float
    rolled: bool = False
    mirrored: bool = False


@dataclass(frozen=True)
class CellResult:
    """One configuration at one obstacle and level with one driver."""

    config: str
    name: str
    obstacle: str
    level: float
    unit: str
    driver: str
    rate: Rate
    """Invalid trials are not in it."""
    invalid: int
    outcomes: Counter[str]
    margin_median: Estimate
    """Over the trials that did not roll, of the smallest tip-over margin in a trial; degrees."""
    margin_p5: Estimate
    verdict: Verdict | None
    """Against the baseline, read together with all others; None for the baseline itself, where it has no trials, and
    where a limit was searched (there the few trials at one level say little, see :mod:`sim.compare.limits`)."""
    margin_difference: Estimate | None
    """Paired median difference to the baseline where neither rolled, degrees."""
    rolled: Rate
    """Share that went over; read it beside the margins."""
    sides: tuple[Rate, Rate] | None = None
    """Success with the ground as it is and mirrored, where left and right of it differ; else None."""
    side_gains: tuple[Estimate, Estimate] | None = None
    """Paired difference of success to the baseline on either side; None for the baseline and where sides are alike."""
    side_tables: tuple[PairTable, PairTable] | None = None
    """The pairs that they come from."""

    @property
    def place(self) -> str:
        """Obstacle with its level, as it is written on the command line."""
        return ground_cache.shown(self.obstacle, self.level)


@dataclass(frozen=True)
class Comparison:
    """Everything a store shows about its configurations."""

    baseline: StoredTruck
    cells: tuple[CellResult, ...]
    """By obstacle, level, driver; the baseline first, then by name."""
    versions: Versions
    other_versions: int
    """Trials left out because other versions computed them."""
    overall: Mapping[str, Verdict] = field(default_factory=dict)
    """By configuration (hash), against the baseline: all obstacles and levels together, read among all comparisons."""
    stopped_early: bool = False
    """Whether a plan of the store stops pairs when decided: verdicts then keep their error all the same (together
    at most 5 %), but intervals are those of a number of trials fixed beforehand and a little too narrow."""
    searched: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """(easiest, hardest) level of the obstacles where the store's plans searched for limits."""

    @property
    def invalid(self) -> int:
        """Trials in which the solver failed."""
        return sum(cell.invalid for cell in self.cells)

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Every comparison with the baseline: cell by cell, then over all obstacles where there are several."""
        return (*(cell.verdict for cell in self.cells if cell.verdict is not None), *self.overall.values())


_Place = tuple[str, float, str]
_Shots = dict[str, dict[Pair, Shot]]


def compare(store: Store, baseline: str | None = None, confidence: float = 0.95) -> Comparison:
    """Compare every configuration of a store with one of them.

    :param store: Open store with at least one trial.
    :param baseline: Name or hash of a configuration; left out, the one that the store's plans name, else the one with
        most trials, the first by name of those.
    :param confidence: Level of every interval.
    :raises StoreError: Damaged store.
    :raises SimError: Empty store, or no such baseline.
    """
    latest = store.latest()
    if latest is None:
        raise SimError("holds no trials yet", file=store.path, remedy="Run `cragbench batch` first")
    shots, outcomes, left_out = _collect(store, latest)
    known = _named(store, {config for by_config in shots.values() for config in by_config})
    plans = [tomllib.loads(text) for _, _, text in store.plans()]
    named = next((plan["baseline"] for plan in plans if "baseline" in plan), None)
    if baseline is None and any(named == configuration.name for configuration in known.values()):
        baseline = named
    chosen = _baseline(known, baseline, shots, store)
    early = any(plan.get("stop_when_decided") for plan in plans)
    ranges = _searched(plans, {where[0] for where in shots})
    order = sorted(known.values(), key=lambda c: (c.hash != chosen.hash, c.name, c.hash))
    cells = [
        _cell(configuration, where, shots[where], outcomes[where, configuration.hash],
              None if where[0] in ranges else chosen.hash, confidence, early)
        for where in sorted(shots)
        for configuration in order
        if configuration.hash in shots[where]
    ]
    overall = _overall(cells, confidence, early)
    return _together(Comparison(chosen, tuple(cells), latest, left_out, overall, early, ranges))


def _overall(cells: Sequence[CellResult], confidence: float, early: bool) -> dict[str, Verdict]:
    """All pairs of each configuration with the baseline, over all obstacles and levels."""
    tables: dict[str, list[PairTable]] = defaultdict(list)
    for cell in cells:
        if cell.verdict is not None:
            tables[cell.config].append(cell.verdict.table)
    return {config: verdict(PairTable.sum(some), confidence, anytime=early) for config, some in tables.items()}


def _together(found: Comparison) -> Comparison:
    """Every p-value adjusted for all of them: whoever reads a verdict, on a page or a screen, reads the same one."""
    # One place alone is its own sum: counting it twice would only weaken it.
    several = {config for config in found.overall if sum(c.config == config and c.verdict is not None
                                                         for c in found.cells) > 1}
    judged = [cell.verdict for cell in found.cells if cell.verdict is not None]
    judged += [one for config, one in found.overall.items() if config in several]
    adjusted = iter(holm.holm([one.p for one in judged]))
    cells = tuple(cell if cell.verdict is None else replace(cell, verdict=replace(cell.verdict,
                                                                                  adjusted_p=next(adjusted)))
                  for cell in found.cells)
    alone = {cell.config: cell.verdict for cell in cells if cell.verdict is not None}
    overall = {config: replace(one, adjusted_p=next(adjusted)) if config in several else alone[config]
               for config, one in found.overall.items()}
    return replace(found, cells=cells, overall=overall)


_Outcomes = dict[tuple[_Place, str], Counter[str]]


def _collect(store: Store, latest: Versions) -> tuple[dict[_Place, _Shots], _Outcomes, int]:
    shots: dict[_Place, _Shots] = defaultdict(lambda: defaultdict(dict))
    outcomes: _Outcomes = defaultdict(Counter)
    columns = ("obstacle", "level", "driver", "config", "study_seed", "repeat", "draw", "outcome", "min_margin_deg")
    for row in store.of(latest, columns):
        obstacle, level, driver, config, seed, repeat, luck, outcome, margin = row
        where = (obstacle, level, driver)
        outcomes[where, config][outcome] += 1
        by_pair = shots[where][config]
        if outcome != "invalid":
            by_pair[Pair(seed, repeat, luck)] = Shot(outcome == "cleared", margin, outcome == "rolled",
                                                       '"mirrored":true' in luck)
    used = sum(sum(count.values()) for count in outcomes.values())
    return shots, outcomes, store.count() - len(store.damaged) - used


def _searched(plans: Iterable[Mapping[str, Any]], obstacles: Iterable[str]) -> dict[str, tuple[float, float]]:
    """Ranges of level by obstacle; a file that a plan names may lie anywhere."""
    asked = {}
    for plan in plans:
        for entry in plan.get("obstacle", ()):
            search = entry.get("find_limit")
            if search is not None:
                obstacle = ground_cache.obstacle_text(entry["family"], entry.get("parameters", {}))
                asked[_bare(obstacle)] = search["low"], search["high"]
    return {obstacle: asked[_bare(obstacle)] for obstacle in sorted(obstacles) if _bare(obstacle) in asked}


def _bare(obstacle: str) -> str:
    """The obstacle, a file by its name alone."""
    name, comma, rest = file_name.without_folder(obstacle).partition(",")
    return name.partition(file_name.HASH_MARK)[0] + comma + rest


def _named(store: Store, hashes: set[str]) -> dict[str, StoredTruck]:
    known = store.configurations()
    return {h: known.get(h, StoredTruck(h, h, {})) for h in sorted(hashes)}


def _baseline(
    known: dict[str, StoredTruck], wanted: str | None, shots: dict[_Place, _Shots], store: Store
) -> StoredTruck:
    if wanted is None:
        totals = Counter[str]()
        for by_config in shots.values():
            totals.update({config: len(pairs) for config, pairs in by_config.items()})
        return min(known.values(), key=lambda c: (-totals[c.hash], c.name, c.hash))
    for configuration in known.values():
        if wanted in (configuration.name, configuration.hash):
            return configuration
    names = ", ".join(sorted(c.name for c in known.values()))
    raise SimError("no such configuration in the store", file=store.path, field="baseline", value=wanted,
                   remedy=f"Choose one of: {names}")


def _cell(
    configuration: StoredTruck, where: _Place, shots: _Shots, outcomes: Counter[str], baseline: str | None,
    confidence: float, early: bool,
) -> CellResult:
    obstacle, level, driver = where
    own = shots[configuration.hash]
    margins = [shot.margin_deg for shot in own.values() if not shot.rolled]
    said, difference, by_side = None, None, None
    if baseline is not None and configuration.hash != baseline and shots.get(baseline):
        pairs = matched(own, shots[baseline])
        said = verdict(tabulate((mine.cleared, theirs.cleared) for mine, theirs in pairs), confidence, anytime=early)
        by_side = _side_tables(pairs)
        stood = [(m.margin_deg, t.margin_deg) for m, t in pairs if not m.rolled and not t.rolled]
        difference = paired_median([m for m, _ in stood], [t for _, t in stood], confidence)
    return CellResult(
        config=configuration.hash,
        name=configuration.name,
        obstacle=obstacle,
        level=level,
        unit=ground_cache.unit(obstacle),
        driver=driver,
        rate=wilson(sum(shot.cleared for shot in own.values()), len(own), confidence),
        invalid=outcomes["invalid"],
        outcomes=outcomes,
        margin_median=quantile(margins, 0.5, confidence),
        margin_p5=quantile(margins, 0.05, confidence),
        verdict=said,
        margin_difference=difference,
        rolled=wilson(sum(shot.rolled for shot in own.values()), len(own), confidence),
        sides=_by_side(own.values(), confidence),
        side_gains=None if by_side is None else (paired_difference(by_side[0], confidence),
                                                 paired_difference(by_side[1], confidence)),
        side_tables=by_side,
    )


def _by_side(shots: Iterable[Shot], confidence: float) -> tuple[Rate, Rate] | None:
    sides: tuple[list[bool], list[bool]] = ([], [])
    for shot in shots:
        sides[shot.mirrored].append(shot.cleared)
    if not sides[1]:
        return None
    plain, mirrored = (wilson(sum(won), len(won), confidence) for won in sides)
    return plain, mirrored


def _side_tables(pairs: Sequence[tuple[Shot, Shot]]) -> tuple[PairTable, PairTable] | None:
    plain, mirrored = (tabulate((mine.cleared, theirs.cleared) for mine, theirs in pairs if mine.mirrored == side)
                       for side in (False, True))
    return (plain, mirrored) if plain.pairs and mirrored.pairs else None


def matched(mine: dict[Pair, Shot], theirs: dict[Pair, Shot]) -> list[tuple[Shot, Shot]]:
    """Trials of two configurations that met the same luck."""
    return [(shot, theirs[pair]) for pair, shot in mine.items() if pair in theirs]


def places(cells: Iterable[CellResult]) -> list[_Place]:
    """Obstacle, level and driver of each group of cells, in order, each once."""
    return list(dict.fromkeys((cell.obstacle, cell.level, cell.driver) for cell in cells))


def at(cells: Sequence[CellResult], where: _Place) -> list[CellResult]:
    """Cells of one obstacle, level and driver."""
    return [cell for cell in cells if (cell.obstacle, cell.level, cell.driver) == where]
