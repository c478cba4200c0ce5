"""What a graphics processor does with our trials, measured on one: needs cragbench[gpu].

    python3 scripts/gpu_study.py agreement    1,000 trials on both targets
    python3 scripts/gpu_study.py cost         time and memory by the number of trials at once; registers and room
    python3 scripts/gpu_study.py order        time by who shares a warp with whom
    python3 scripts/gpu_study.py grids        limits on other grids and directions, 64 tries a level

Each prints one JSON line; several may be given.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
import time
from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from itertools import cycle, islice
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
from numba import cuda  # noqa: E402

from models.scenario import DATA  # noqa: E402
from sim.batch import device, device_grounds  # noqa: E402
from sim.batch.study import make_task, yard_of  # noqa: E402
from sim.trial import ground_cache, perform  # noqa: E402
from sim.trial.luck import Variation, draw  # noqa: E402
from sim.trial.task import Report, Task  # noqa: E402
from sim.trial.truck import load_truck  # noqa: E402

TRUCKS = {truck.hash: truck.model for truck in (load_truck(DATA / f"{n}.toml") for n in ("gundi", "dassie", "takin"))}
SMALL = next(iter(TRUCKS))
LINES = (("ledge", (20.0, 34.0, 42.0)), ("climb", (40.0, 50.0, 54.0)), ("side-hill", (30.0, 37.0, 40.0)),
         ("descent", (40.0, 48.0, 55.0)), ("ledge-on-slope", (15.0, 25.0, 40.0)), ("ledge-down", (40.0, 50.0, 80.0)))


def tasks(count: int) -> list[Task]:
    """Trials of three trucks and three drivers on six kinds of ground."""
    found = []
    for repeat in range(count):
        for name, levels in LINES:
            for level in levels:
                for config, model in TRUCKS.items():
                    scale = model.wheelbase / TRUCKS[SMALL].wheelbase if name.startswith("ledge") else 1.0
                    driver = ("steady", "bump", "patient")[repeat % 3]
                    found.append(make_task(config, name, round(level * scale, 1), repeat, yard=yard_of(model),
                                           driver_name=driver, seed=3, variation=Variation()))
                    if len(found) == count:
                        return found
    return found


def run(hands: Any, wanted: Sequence[Task]) -> dict[Task, Any]:
    """Answers by task."""
    left, answers = list(wanted)[::-1], {}
    while len(answers) < len(wanted):
        while left and hands.free() > 0:
            hands.give(left.pop())
        for answer in hands.collect(1.0):
            if not isinstance(answer, Report):
                raise RuntimeError(answer.text)
            answers[answer.task] = answer.record
    return answers


def _here(task: Task) -> Any:
    from sim.trial.task import record

    return record(perform.perform(TRUCKS, task))


def agreement() -> dict[str, object]:
    """Outcomes, margins and times of the same trials on both targets."""
    from concurrent.futures import ProcessPoolExecutor

    wanted = tasks(1000)
    began = time.perf_counter()
    with ProcessPoolExecutor() as pool:
        answers = pool.map(_here, wanted, chunksize=4)  # processes are made before there is a device in this one
        hands = device.Device(TRUCKS, seats=1024)
        there = run(hands, wanted)
        spent = time.perf_counter() - began
        hands.close()
        here = dict(zip(wanted, answers, strict=True))
    cores = time.perf_counter() - began
    pairs = [(here[task], there[task]) for task in wanted]
    margins = [abs(a.min_margin_deg - b.min_margin_deg) for a, b in pairs]
    return {
        "trials": len(pairs),
        "same outcome and reason": sum(a.outcome == b.outcome and a.reason == b.reason for a, b in pairs),
        "otherwise": [
            [task.obstacle, task.level, task.driver, task.repeat, *((one.reason, one.time_s) for one in pair)]
            for task, pair in zip(wanted, pairs, strict=True) if pair[0].reason != pair[1].reason
        ],
        "same time": sum(a.time_s == b.time_s for a, b in pairs),
        "largest margin apart, deg": float(np.nanmax(margins)),
        "median margin apart, deg": float(np.nanmedian(margins)),
        "margins more than 1e-6 deg apart": [
            [task.obstacle, task.level, task.driver, task.repeat, a.reason, a.min_margin_deg, b.min_margin_deg]
            for task, (a, b), apart in zip(wanted, pairs, margins, strict=True) if not apart <= 1e-6
        ],
        "device s": spent, "beside it cores s": cores,
    }  # fmt: skip


def cost(counts: Iterable[int] = (1, 32, 132, 1024, 4096, 16384, 32768, 65536, 131072)) -> dict[str, object]:
    """Time of one step of all, by how many trials there are, and what they and the kernel take of the device."""
    found: dict[int, dict[str, float]] = {}
    for count in counts:
        try:
            found[count] = timed(seated(count), count)
        except Exception as error:  # where the memory ends is part of the answer
            if "MEMORY" not in str(error).upper():
                raise
            print(json.dumps({"no room for": count, "error": str(error)}), flush=True)
            break
        print(json.dumps({count: found[count]}), flush=True)
    return {"by trials": found} | kernel()


def timed(hands: device.Device, count: int) -> dict[str, float]:
    """One step of all that sit there, and the memory in use, of it what a trial takes."""
    took = _step_us(hands)
    free, of = cuda.current_context().get_memory_info()
    seats = sum(one.nbytes for one in hands._seats)
    hands.close()
    hands._grounds = None  # type: ignore[assignment]
    gc.collect()
    return {
        "us a step of all": took, "us a trial-step": took / count, "kB a trial": seats / count / 1e3,
        "GB of all": (of - free) / 1e9, "GB of the device": of / 1e9,
    }  # fmt: skip


def _step_us(hands: device.Device) -> float:
    """Median of three times 50 steps."""
    hands._go_on()  # compiled and warm
    looks, device.LOOKS = device.LOOKS, 5
    took = []
    for _ in range(3):
        began = time.perf_counter()
        hands._go_on()
        cuda.synchronize()
        took.append((time.perf_counter() - began) / (device.LOOKS * 10) * 1e6)
    device.LOOKS = looks
    return sorted(took)[1]


def order(count: int = 8192, different: int = 1944, rounds: int = 6) -> dict[str, object]:
    """Time of one step of all, by who sits beside whom: four a warp, in the order in which they sit down."""
    chance = np.random.default_rng(1)

    def kind(one: Any) -> tuple[Any, ...]:
        return one.task.obstacle, one.task.level, one.config, one.task.driver

    def mixed(ready: list[Any]) -> list[Any]:
        return [ready[k] for k in chance.permutation(len(ready))]

    ways: dict[str, Callable[[list[Any]], list[Any]]] = {
        "as a batch asks for them": lambda ready: ready,
        "shuffled": mixed,
        "ground, level, truck and driver alike": lambda ready: sorted(mixed(ready), key=kind),
        "truck alike, ground family alike": lambda ready: sorted(mixed(ready), key=lambda one: kind(one)[::2]),
        "four times the same trial": lambda ready: [one for one in ready[: count // 4] for _ in range(4)],
    }
    hands = device.Device(TRUCKS, seats=count)
    ready = _ready(hands, tasks(different), count)
    found = {}
    for name, way in ways.items():
        device.seating = _as_they_come  # type: ignore[assignment]
        hands._sitting, hands._empty = [None] * count, list(range(count))[::-1]
        hands._ready = deque(way(ready))
        hands._sit_down()
        for _ in range(rounds):
            hands._go_on()
        found[name] = {"us a step of all": _step_us(hands), "over": len(hands._empty)}
        print(json.dumps({name: found[name]}), flush=True)
    return dict(found)


def _as_they_come(empty: Sequence[int], kinds: Sequence[Any], *_: Any) -> list[tuple[int, int]]:
    return list(zip(sorted(empty), range(len(kinds)), strict=False))


def seated(count: int, trucks: Mapping[str, Any] = TRUCKS, wanted: Sequence[Task] = ()) -> device.Device:
    """A device with so many trials under way for three quarters of a second; of few different ones there are many."""
    hands = device.Device(trucks, seats=count)
    hands._ready = deque(_ready(hands, wanted or tasks(min(count, 256)), count))
    hands._sit_down()
    for _ in range(3):
        hands._go_on()
    hands._answers.clear()
    return hands


def _ready(hands: device.Device, wanted: Sequence[Task], count: int) -> list[Any]:
    for task in wanted:
        hands.give(task)
    hands._get_ready(count)
    hands._waiting.clear()
    return list(islice(cycle(list(hands._ready)), count))


def kernel() -> dict[str, object]:
    """What a lane takes, and how many attempts find room in a multiprocessor by registers and by shared memory."""
    go_on, card = device.many.go_on, cuda.get_current_device()
    registers = next(iter(go_on.get_regs_per_thread().values()))
    shared = next(iter(go_on.get_shared_mem_per_block().values()))
    return {
        "registers a lane": registers, "attempts a block": device.many.ATTEMPTS, "shared bytes a block": shared,
        "local bytes a lane": next(iter(go_on.get_local_mem_per_thread().values())),
        "blocks a multiprocessor by registers": card.MAX_REGISTERS_PER_MULTIPROCESSOR // (-(-registers // 8) * 256),
        "and by shared memory": card.MAX_SHARED_MEMORY_PER_MULTIPROCESSOR // (shared + 1024),
        "multiprocessors": card.MULTIPROCESSOR_COUNT,
    }  # fmt: skip


def _variant(text: str) -> tuple[str, float, float]:
    family, cell, degrees = text.split("|")
    return family, float(cell), float(degrees)


@cache
def _piece(obstacle: str, level: float) -> Any:
    from sim.validation import grids

    family, cell, degrees = _variant(obstacle)
    return grids.laid(family, level, TRUCKS[SMALL], 1e-3 * cell, degrees)


def grids(tries: int = 48) -> dict[str, object]:
    """Mean limit over the tries' luck, common to all variants, and paired difference to the usual with its error."""
    from sim.validation.grids import OTHERS, SEED

    ladders = {"ledge": np.arange(34.0, 46.1, 1.0), "ledge-on-slope": np.arange(14.0, 40.1, 2.0),
               "ledge-down": np.arange(43.0, 55.1, 1.0), "v-notch": np.arange(40.0, 75.1, 3.0)}
    variants = ((2.0, 0.0), *OTHERS, (1.0, 30.0), (1.0, 45.0), (0.5, 45.0))
    ground_cache.ground = lambda obstacle, level, *_: _piece(obstacle, level)  # type: ignore[assignment]
    device_grounds.GROUND_MB = 60_000
    yard = yard_of(TRUCKS[SMALL]).text()
    answer: dict[str, object] = {}
    for family, levels in ladders.items():
        shares: dict[str, list[np.ndarray]] = defaultdict(list)
        for cells in ((2.0,), (1.0, 0.5)):
            wanted = {}
            for cell, degrees in variants:
                if cell not in cells:
                    continue
                text = f"{family}|{cell}|{degrees}"
                for repeat in range(tries):
                    luck = draw(Variation(both_sides=False), SEED, family, 0.0, repeat)
                    for level in levels:
                        task = Task(SMALL, text, float(level), yard, "steady", SEED, repeat, luck)
                        wanted[task] = text, repeat
            hands = device.Device(TRUCKS, seats=16384, grounds=len(levels) * len(variants))
            records = run(hands, list(wanted))
            hands.close()
            for text in {text for text, _ in wanted.values()}:
                shares[text] = [np.zeros(tries)]
            for task, (text, repeat) in wanted.items():
                shares[text][0][repeat] += records[task].outcome == "cleared"
            _piece.cache_clear()
        step = float(levels[1] - levels[0])
        cleared = {text: levels[0] - 0.5 * step + step * counts[0] for text, counts in shares.items()}
        usual = cleared[f"{family}|2.0|0.0"]
        answer[family] = {
            text: [float(limit.mean()), float((limit - usual).mean() / usual.mean()),
                   float((limit - usual).std(ddof=1) / np.sqrt(tries) / usual.mean())]
            for text, limit in cleared.items()
        }  # fmt: skip
        print(json.dumps({family: answer[family]}), flush=True)
    return answer


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="*", default=["agreement"], choices=["agreement", "cost", "order", "grids"])
    parser.add_argument("--counts", help="Trials at once for cost, as 1,1024.")
    parser.add_argument("--registers", type=int, help="Of a lane at most, instead of the usual.")
    asked = parser.parse_args()
    if asked.registers:
        device.many.go_on = cuda.jit(max_registers=asked.registers)(device.many.go_on.py_func)
    counts = [int(text) for text in asked.counts.split(",")] if asked.counts else ()
    for name in asked.what:
        began = time.perf_counter()
        answer = {"agreement": agreement, "cost": lambda: cost(counts) if counts else cost(), "order": order,
                  "grids": grids}[name]()
        print(json.dumps({name: answer, "s": time.perf_counter() - began}), flush=True)


if __name__ == "__main__":
    main()
