"""Which recorded trials are worth looking at again: those that show what the statistics say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from models.errors import BuildSheetError
from models.spec import Sheet
from sim.compare.comparison import CellResult, Comparison, at, places
from sim.compare.sentences import label
from sim.replay.clip import Actor, Clip, actor, clip
from sim.store.store import Store, Trial
from sim.trial.task import Versions

MOST_PLACES = 12
MOST_TRUCKS = 6
"""The same ones at every place: the baseline and those that differ most from it."""


@dataclass(frozen=True)
class Pick:
    """A recorded trial and where it belongs."""

    label: str
    """Obstacle and level for people."""
    series: int
    config: str
    trial: Trial


def sheets(store: Store) -> dict[str, Sheet]:
    """Build sheets that the store remembers, by configuration hash; older stores hold none."""
    out = {}
    for digest, configuration in store.configurations().items():
        try:
            out[digest] = Sheet.model_validate(configuration.facts["sheet"])
        except (KeyError, ValueError):
            continue
    return out


def picks(store: Store, comparison: Comparison, names: Sequence[str]) -> list[Pick]:
    """Recorded trials to show: places where outcomes differ first, then by how telling; the baseline first at each.

    Every place shows one and the same repeat, so that its trucks met the same ground and luck.
    """
    recorded = recorded_trials(store, comparison.versions)
    apart = _apart(recorded)
    ranked = sorted(places(comparison.cells),
                    key=lambda where: (where not in apart, -_weight(at(comparison.cells, where))))
    trucks = _trucks(comparison, {key[3] for key in recorded})
    found: list[Pick] = []
    shown = 0
    for where in ranked:
        here = {key: trial for key, trial in recorded.items() if key[:3] == where}
        if not here or shown >= MOST_PLACES or not any(key[3] in trucks for key in here):
            continue
        cells = [cell for name in trucks for cell in at(comparison.cells, where) if cell.config == name]
        repeat = _telling_repeat(here, cells)
        chosen = [(cell, here.get((*where, cell.config, repeat))) for cell in cells]
        several = len({w[2] for w in ranked}) > 1
        text = label(cells[0]) + (f", {where[2]} driver" if several else "")
        found += [Pick(text, names.index(c.name), c.config, trial) for c, trial in chosen if trial is not None]
        shown += 1
    return found


def passed_over(store: Store, comparison: Comparison, shown: Sequence[Pick]) -> tuple[int, int]:
    """How many obstacles and how many trucks have recorded trials and none among those shown."""
    recorded = recorded_trials(store, comparison.versions)
    spots = {(p.trial.task.obstacle, p.trial.task.level, p.trial.task.driver) for p in shown}
    return (len({key[:3] for key in recorded} - spots), len({key[3] for key in recorded} - {p.config for p in shown}))


def clips(
    store: Store, chosen: Sequence[Pick], watch: Callable[[str], None] | None = None, baseline: str | None = None
) -> list[tuple[Pick, Clip]]:
    """Clips of picks whose truck the store can still draw; parts that differ from the ``baseline`` are marked."""
    known = sheets(store)
    names = store.configurations()
    actors: dict[str, Actor | None] = {}
    out = []
    for pick in chosen:
        if pick.config not in actors:
            before = known.get(baseline) if baseline not in (None, pick.config) else None
            made = _actor(names[pick.config].name, known[pick.config], before) if pick.config in known else None
            actors[pick.config] = made
        who = actors[pick.config]
        trace = store.trace(pick.trial.key)
        if who is None or trace is None or len(trace.time) < 2:
            continue
        if watch is not None:
            watch(f"{who.name} on {pick.label}")
        out.append((pick, clip(who, pick.trial, trace)))
    return out


def _actor(name: str, sheet: Sheet, before: Sheet | None) -> Actor | None:
    try:
        return actor(name, sheet, before)
    except BuildSheetError:
        # A mesh file that stayed on another machine: the numbers stand without the picture.
        return None


_Spot = tuple[str, float, str, str, int]


def recorded_trials(store: Store, versions: Versions) -> dict[_Spot, Trial]:
    """Recorded trials of these versions by obstacle, level, driver, configuration and repeat."""
    keys = store.traced()
    out: dict[_Spot, Trial] = {}
    if not keys:
        return out
    for trial in store.trials():
        by, config = trial.versions, trial.task.config
        if trial.key in keys and versions.made(by.code, by.engine, config, by.models.get(config, "")):
            t = trial.task
            out.setdefault((t.obstacle, t.level, t.driver, t.config, t.repeat), trial)
    return out


def _trucks(comparison: Comparison, recorded: set[str]) -> list[str]:
    """Recorded configurations to show, the baseline first."""
    weight: dict[str, float] = defaultdict(float)
    for cell in comparison.cells:
        weight[cell.config] += _cell_weight(cell)
    base = comparison.baseline.hash
    rest = sorted((c for c in weight if c in recorded and c != base), key=lambda c: (-weight[c], c))
    return [base, *rest][:MOST_TRUCKS]


def _cell_weight(cell: CellResult) -> float:
    if cell.verdict is None or not cell.verdict.table.pairs:
        return 0.0
    return abs(cell.verdict.difference.value) + (1.0 if cell.verdict.shown else 0.0)


def _weight(cells: Sequence[CellResult]) -> float:
    return max((_cell_weight(cell) for cell in cells), default=0.0)


def _apart(recorded: dict[_Spot, Trial]) -> set[tuple[str, float, str]]:
    """Places with a recorded repeat in which one truck cleared and another did not."""
    seen: dict[tuple[str, float, str, int], set[bool]] = defaultdict(set)
    for (obstacle, level, driver, _, repeat), trial in recorded.items():
        seen[obstacle, level, driver, repeat].add(trial.record.cleared)
    return {key[:3] for key, outcomes in seen.items() if len(outcomes) > 1}


def _telling_repeat(here: dict[_Spot, Trial], cells: Sequence[CellResult]) -> int:
    """The repeat in which outcomes differ, with most trucks on record, that do what they mostly do."""
    by_repeat: dict[int, float] = defaultdict(float)
    likely = {cell.config: cell.rate.share >= 0.5 for cell in cells if cell.rate.trials}
    for (_, _, _, config, repeat), trial in here.items():
        by_repeat[repeat] += 1.0
        if config in likely and trial.record.cleared == likely[config]:
            by_repeat[repeat] += 0.5
    # A difference that one sees tells more than many trucks that do the same.
    outcomes: dict[int, set[bool]] = defaultdict(set)
    for (_, _, _, config, repeat), trial in here.items():
        if config in likely:
            outcomes[repeat].add(trial.record.cleared)
    for repeat, seen in outcomes.items():
        by_repeat[repeat] += 100.0 * (len(seen) > 1)
    return min(by_repeat, key=lambda repeat: (-by_repeat[repeat], repeat))
