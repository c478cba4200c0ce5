"""The recorded trials that somebody asked to see again, by truck, obstacle and repeat."""

from __future__ import annotations

from dataclasses import dataclass

from sim.compare.comparison import Comparison
from sim.errors import SimError
from sim.replay.picks import Pick, picks, recorded_trials
from sim.store.store import Store, Trial
from sim.trial import ground_cache

NONE_RECORDED = "Set traces = 2 in the plan and run `cragbench batch` again"


@dataclass(frozen=True)
class Wanted:
    """What to show; what is None is chosen: the most telling of what is recorded."""

    truck: str | None = None
    against: str | None = None
    obstacle: str | None = None
    """As it is written on the command line, ``ledge:30``."""
    repeat: int | None = None


def find(store: Store, comparison: Comparison, wanted: Wanted) -> list[Pick]:
    """One pick, or two that met the same luck: the truck, and what it is shown against.

    :raises SimError: Nothing recorded, or nothing that fits what was asked for.
    """
    names = list(dict.fromkeys([comparison.baseline.name, *(cell.name for cell in comparison.cells)]))
    configs = {cell.name: cell.config for cell in comparison.cells}
    if wanted == Wanted():
        return _most_telling(store, comparison, names)
    for field, name in (("truck", wanted.truck), ("against", wanted.against)):
        if name is not None and name not in configs:
            raise SimError("no such configuration in the store", file=store.path, field=field, value=name,
                           remedy=f"Choose one of: {', '.join(names[:12])}")
    trials = recorded_trials(store, comparison.versions)
    where = None if wanted.obstacle is None else ground_cache.shown(*ground_cache.split(wanted.obstacle))
    first = [
        trial
        for (obstacle, level, _, config, repeat), trial in sorted(trials.items())
        if where in (None, ground_cache.shown(obstacle, level))
        and (wanted.truck is None or config == configs[wanted.truck])
        and wanted.repeat in (None, repeat)
    ]
    if first and wanted.against is None:
        return [_pick(first[0], names, comparison)]
    there = [(trial.task.obstacle, trial.task.level, trial.task.driver, configs.get(wanted.against or ""),
              trial.task.repeat) for trial in first]
    pairs = [(one, trials[spot]) for one, spot in zip(first, there, strict=True) if spot in trials]
    if pairs:
        return [_pick(trial, names, comparison) for trial in max(pairs, key=lambda pair: _apart(comparison, *pair))]
    raise SimError("no such trial was recorded", file=store.path, field="replay",
                   value=wanted.obstacle or wanted.truck or wanted.repeat, remedy=_recorded_places(trials.values()))


def _apart(comparison: Comparison, one: Trial, other: Trial) -> tuple[bool, float]:
    """How telling two trials of one place are: whether one was cleared alone, then how far the rates there differ."""
    rates = {cell.config: cell.rate.share for cell in comparison.cells if cell.rate.trials and (
        cell.obstacle, cell.level, cell.driver) == (one.task.obstacle, one.task.level, one.task.driver)}
    gap = abs(rates.get(one.task.config, 0.0) - rates.get(other.task.config, 0.0))
    return one.record.cleared != other.record.cleared, gap


def _most_telling(store: Store, comparison: Comparison, names: list[str]) -> list[Pick]:
    found = picks(store, comparison, names)
    if not found:
        raise SimError("holds no recorded trial", file=store.path, remedy=NONE_RECORDED)
    return [pick for pick in found if pick.label == found[0].label][:2]


def _pick(trial: Trial, names: list[str], comparison: Comparison) -> Pick:
    config = trial.task.config
    name = next(cell.name for cell in comparison.cells if cell.config == config)
    return Pick(ground_cache.shown(trial.task.obstacle, trial.task.level), names.index(name), config, trial)


def _recorded_places(trials: object) -> str:
    found = sorted({ground_cache.shown(t.task.obstacle, t.task.level) for t in trials})  # type: ignore[attr-defined]
    return f"Recorded are: {', '.join(found[:12])}" if found else NONE_RECORDED
