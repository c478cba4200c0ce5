"""Run by test_device.py with the simulator of a device and without compilation: a few short trials on both targets."""

from __future__ import annotations

import json
from dataclasses import astuple
from typing import Any

import short_trials  # noqa: F401  (makes them short)

from models.scenario import DATA
from sim.batch import device
from sim.batch.study import make_task, yard_of
from sim.trial import perform
from sim.trial.luck import Variation
from sim.trial.task import Report, record
from sim.trial.truck import load_truck


def main() -> None:
    """Print the records of both targets."""
    trucks = {truck.hash: truck.model for truck in (load_truck(DATA / f"{n}.toml") for n in ("gundi", "takin"))}
    one, other = trucks
    places = ((one, "ledge", 24.0, "bump"), (other, "side-hill", 30.0, "steady"), (one, "descent", 30.0, "patient"))
    tasks = [
        make_task(name, obstacle, level, 1, yard=yard_of(trucks[name]), driver_name=driver, seed=1,
                  variation=Variation(cg_mm=(1.0, 1.0, 1.0)))
        for name, obstacle, level, driver in places
    ]  # fmt: skip
    hands = device.Device(trucks, seats=2, grounds=2)
    for task in tasks:
        hands.give(task)
    answers: list[Any] = []
    while len(answers) < len(tasks):
        answers += hands.collect(0.1)
    found = {answer.task: astuple(answer.record) if isinstance(answer, Report) else answer.text for answer in answers}
    expected = [astuple(record(perform.perform(trucks, task))) for task in tasks]
    print(json.dumps({"device": [found[task] for task in tasks], "here": expected}))


if __name__ == "__main__":
    main()
