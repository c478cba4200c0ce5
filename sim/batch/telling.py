"""Recording by outcome: the repeat at which trucks differ is driven once more with its motion kept.

Which repeats those are is known only when all trials are in. The same task gives the same bits, so a trial driven again
shows exactly what was counted.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict

from sim.batch.study import Study, fixed_tasks
from sim.store.store import Store
from sim.trial.task import Record, Task, Versions

MOST_TRUCKS = 6
"""Trucks recorded at one place: the baseline and those that came out differently."""

Place = tuple[str, float, str]


def telling_tasks(study: Study, store: Store, versions: Versions) -> list[Task]:
    """What to drive again: at every place one repeat in which a truck did better or worse than the baseline.

    Of several the one that most trucks' sums of successes agree with, the first of those; what is recorded already is
    left out. A plan without ``traces`` records nothing.
    """
    if not study.plan.traces:
        return []
    done, traced = store.done(), store.traced()
    places: dict[Place, dict[int, dict[str, tuple[Task, Record]]]] = defaultdict(lambda: defaultdict(dict))
    for task in fixed_tasks(study):
        found = done.get(task.key(versions))
        if found is not None and found.outcome != "invalid":
            places[task.obstacle, task.level, task.driver][task.repeat][task.config] = (task, found)
    out: list[Task] = []
    for repeats in places.values():
        chosen = _chosen(repeats, study.baseline.hash)
        out += [dataclasses.replace(task, keep_trace=True) for task in chosen if task.key(versions) not in traced]
    return out


def _chosen(repeats: dict[int, dict[str, tuple[Task, Record]]], baseline: str) -> list[Task]:
    gain: dict[str, int] = defaultdict(int)
    for trials in repeats.values():
        if baseline in trials:
            for config, (_, record) in trials.items():
                gain[config] += record.cleared - trials[baseline][1].cleared
    best: tuple[int, list[Task]] = 0, []
    for trials in repeats.values():
        if baseline not in trials:
            continue
        task, base = trials[baseline]
        apart = [(gain[c] * (r.cleared - base.cleared), t) for c, (t, r) in trials.items() if r.cleared != base.cleared]
        apart.sort(key=lambda pair: -pair[0])
        score = sum(1 if agrees >= 0 else -1 for agrees, _ in apart)
        if score > best[0] or (apart and not best[1]):
            best = score, [task, *(t for _, t in apart[: MOST_TRUCKS - 1])]
    return best[1]
