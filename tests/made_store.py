"""Stores made for pictures: real trucks on real ground, with motions that are written down instead of driven."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from models import scenario
from models.rigid import WHEEL_BODIES
from sim.batch.study import make_task, yard_of
from sim.store.store import Store, StoredTruck, pack
from sim.trial.luck import Variation
from sim.trial.result import Trace
from sim.trial.task import Record, Report, Versions
from sim.trial.truck import Truck, load_truck

__all__ = ["NASTY", "PLACES", "Store", "make", "pack", "scenario", "trace", "truck", "yard_of"]
VERSIONS = Versions("made", "up")
PLACES = (("ledge", 20.0), ("ledge", 30.0), ("climb", 45.0))
NASTY = "<script>alert('x')</script> & \"quoted\" 'name'"


@functools.cache
def truck(change: str | None = None) -> Truck:
    """A truck of the scenario."""
    build = scenario.builds()[1]
    return load_truck(build, [scenario.change(build, change)] if change else [])


def trace(of: Truck, seconds: float = 2.0, *, rolls: bool = False) -> Trace:
    """Straight ahead on level ground with turning wheels; ``rolls`` leans over to the left at the end."""
    n = round(seconds / 0.02) + 1
    time = np.arange(n) * 0.02
    lean = (-np.clip(time - 0.5 * seconds, 0.0, None) / seconds * 2.4) if rolls else np.zeros(n)
    base = np.zeros((n, 7))
    base[:, 0] = 0.08 * time
    base[:, 3], base[:, 6] = np.sin(lean / 2), np.cos(lean / 2)
    joints = np.zeros((n, 10))
    joints[:, np.array(WHEEL_BODIES) - 1] = (0.08 * time / 0.03)[:, None]
    origins = of.model.origins()[list(WHEEL_BODIES)]
    contact = base[:, None, :3] + origins * [1.0, 1.0, 0.0]
    force = np.zeros((n, 4, 3))
    force[..., 2] = 9.81 * of.model.mass / 4.0
    margin = 0.7 + 1.1 * lean
    return Trace(0.02, time, base, joints, force, contact, margin, np.zeros((n, 4)))


def make(
    path: Path,
    names: Sequence[str] = ("as it is", "battery forward"),
    *,
    repeats: int = 12,
    traces: int = 1,
    places: Sequence[tuple[str, float]] = PLACES,
    sheets: bool = True,
) -> Path:
    """Write a store; the n-th configuration fails less the larger n is, and every failure tips back."""
    base, forward = truck(), truck("battery-forward")
    trucks = [base if n == 0 else forward for n in range(len(names))]
    hashes = [f"{n:016x}" for n in range(len(names))]
    with Store(path, write=True) as store:
        store.add_plan("0", "A question", "schema = 1\nname = 'A question'\nseed = 3\n")
        facts = [dict(t.facts) for t in trucks]
        if not sheets:
            facts = [{key: value for key, value in f.items() if key != "sheet"} for f in facts]
        store.add_configurations([StoredTruck(h, name, f) for h, name, f in zip(hashes, names, facts, strict=True)])
        yard = yard_of(base.model)
        luck = np.random.default_rng(5)
        reports = []
        for obstacle, level in places:
            for repeat in range(repeats):
                chance = luck.random()
                for n, config in enumerate(hashes):
                    task = make_task(config, obstacle, level, repeat, yard=yard, driver_name="steady", seed=3,
                                     variation=Variation(), keep_trace=repeat < traces)
                    cleared = bool(chance < (n + 1) / (len(names) + 1))
                    moved = trace(trucks[n], rolls=not cleared) if repeat < traces else None
                    reports.append(Report(task, _record(cleared, chance), moved, 0.1))
        store.add(reports, VERSIONS)
    return path


def _record(cleared: bool, chance: float) -> Record:
    record = Record("cleared", "crossed the finish", 6.0, 600.0, 12.0 - 8.0 * chance, 14.0, 0.1, 0, 3.0, 0.0, 9.0, 2.0)
    if cleared:
        return record
    reached = 300.0 + 90.0 * math.sin(chance)
    return dataclasses.replace(record, outcome="rolled", reason="tipped back", distance_mm=reached)
