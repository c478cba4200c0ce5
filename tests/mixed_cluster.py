"""Run by test_packets.py with the simulator of a device and without compilation: one plan on a mixed cluster.

    mixed_cluster.py ADDRESS ON STORE

Prints who answered what, by worker, and the records.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from dataclasses import astuple
from typing import Any

import short_trials  # noqa: F401  (makes them short)

from models.scenario import DATA
from sim.batch import packets
from sim.batch.batch import FixedSupply, run
from sim.batch.device import versions_on_device
from sim.batch.study import make_task, yard_of
from sim.batch.version import versions
from sim.batch.worker import Job
from sim.store.store import Store
from sim.trial import perform
from sim.trial.luck import Variation
from sim.trial.task import record
from sim.trial.truck import load_truck


def main() -> None:
    """Drive five trials, three at most in a packet."""
    address, on, path = sys.argv[1:]
    truck = load_truck(DATA / "gundi.toml")
    trucks = {truck.hash: truck.model}
    tasks = [make_task(truck.hash, "ledge", 20.0 + k, k, yard=yard_of(truck.model), driver_name="steady", seed=1,
                       variation=Variation()) for k in range(5)]
    hands = packets.PacketCluster(address, Job("sim.trial.perform:perform", trucks, 4096, 0), versions(), on=on,  # type: ignore[arg-type]
                                  watchdog_s=600.0, packet=3, least=2)
    by: Counter[str] = Counter()
    answered = hands._answered

    def watched(future: Any) -> Any:
        found = answered(future)
        by[next(iter(hands._client.who_has([future]).values()))[0]] += len(found)
        return found

    hands._answered = watched  # type: ignore[method-assign]
    made_by = versions_on_device(trucks) if on == "gpu" else packets.versions_anywhere(trucks)
    try:
        with Store(path, write=True) as store:
            progress = run(FixedSupply(tasks), store, made_by, hands)
            found = {task: store.find(task.key(made_by)) for task in tasks}
            others = sum(store.find(task.key(one)) is not None for task in tasks
                         for one in (versions(), versions_on_device(trucks)))
    finally:
        hands.close()
    print(json.dumps({
        "by": dict(by), "done": progress.done, "faults": [fault.text for fault in progress.faults],
        "there": [astuple(found[task]) if found[task] else None for task in tasks],  # type: ignore[arg-type]
        "here": [astuple(record(perform.perform(trucks, task))) for task in tasks], "under other keys": others,
    }))  # fmt: skip


if __name__ == "__main__":
    main()
