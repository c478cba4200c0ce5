"""What a graphics processor does with our trials, measured on one: needs cragbench[gpu].

    python3 scripts/gpu_study.py agreement    1,000 trials on both targets
    python3 scripts/gpu_study.py cost         time by the number of trials at once; registers and occupancy
    python3 scripts/gpu_study.py grids        limits on other grids and directions, 64 tries a level
    python3 scripts/gpu_study.py explore      a search over two things against every set-up of their grid

Each prints one JSON line; several may be given.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from models.scenario import DATA  # noqa: E402
from sim.batch import device  # noqa: E402
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
    hands = device.Device(TRUCKS, seats=1024)
    there = run(hands, wanted)
    spent = time.perf_counter() - began
    hands.close()
    began = time.perf_counter()
    with ProcessPoolExecutor() as pool:
        here = dict(zip(wanted, pool.map(_here, wanted, chunksize=8), strict=True))
    cores = time.perf_counter() - began
    pairs = [(here[task], there[task]) for task in wanted]
    margins = [abs(a.min_margin_deg - b.min_margin_deg) for a, b in pairs]
    return {
        "trials": len(pairs),
        "same outcome and reason": sum(a.outcome == b.outcome and a.reason == b.reason for a, b in pairs),
        "same time": sum(a.time_s == b.time_s for a, b in pairs),
        "largest margin apart, deg": float(np.nanmax(margins)),
        "median margin apart, deg": float(np.nanmedian(margins)),
        "margins more than 1e-6 deg apart": [
            [a.outcome, a.reason, a.min_margin_deg, b.min_margin_deg]
            for (a, b), apart in zip(pairs, margins, strict=True) if not apart <= 1e-6
        ],
        "device s, compiling too": spent, "cores s": cores,
    }  # fmt: skip


def cost(counts: Iterable[int] = (1024, 8192, 32768)) -> dict[str, object]:
    """Time of one step of all, by how many trials there are, and what the kernel takes of the device."""
    from numba import cuda

    wanted, found = tasks(1536), {}
    for count in counts:
        hands = device.Device(TRUCKS, seats=count)
        for k in range(count):
            hands.give(wanted[k % len(wanted)])
        hands._seat_all()
        hands._go_on()
        began = time.perf_counter()
        for _ in range(4):
            hands._go_on()
        cuda.synchronize()
        found[count] = (time.perf_counter() - began) / (4 * device.LOOKS * 10) * 1e6
        hands.close()
        print(json.dumps({"us a step of all": found, **_kernel()}), flush=True)
    return {"us a step of all": found, "us a trial-step": {n: t / n for n, t in found.items()}} | _kernel()


def _kernel() -> dict[str, object]:
    """What a thread takes, and how many threads a multiprocessor has room for by its registers alone."""
    from numba import cuda

    kernel, card, threads = device.many.go_on, cuda.get_current_device(), device.many.GROUPS
    registers = next(iter(kernel.get_regs_per_thread().values()))
    room = card.MAX_REGISTERS_PER_MULTIPROCESSOR // (-(-registers // 8) * 8 * threads) * threads
    return {
        "registers a thread": registers, "local bytes a thread": next(iter(kernel.get_local_mem_per_thread().values())),
        "threads a block": threads, "threads a multiprocessor": room, "multiprocessors": card.MULTIPROCESSOR_COUNT,
        "of its most": room / card.MAX_THREADS_PER_MULTIPROCESSOR,
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
    device.GROUND_MB = 60_000
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


SPACE = """schema = 1
name = "battery and brass on the invented 1/24"
invented = true
currency = "USD"
[[move]]
part = "battery"
along = ["battery tray"]
step_mm = 3
drill = true
[[ballast]]
name = "front axle brass"
body = "front_axle"
at_mm = [143, 0, 20]
size_mm = [8, 40, 12]
most_g = 30
step_g = 5
price_per_g = 0.5
"""


def explore(repeats: int = 32) -> dict[str, object]:
    """The search's answer beside every set-up of a grid over two things, driven in the same luck."""
    from itertools import product

    from models.sheet import load_sheet
    from sim.explore.aim import Aim
    from sim.explore.dimension import dimensions
    from sim.explore.proposal import propose
    from sim.explore.search import Effort, search
    from sim.explore.space_file import load_space
    from sim.explore.trial_ground import opened
    from sim.explore.workshop import Bounds, Setup, Workshop

    aims = (Aim("climb", (46.0, 50.0, 52.0, 54.0, 58.0), "deg"),
            Aim("side-hill", (33.0, 36.0, 38.0, 40.0, 43.0), "deg"),
            Aim("descent", (42.0, 46.0, 48.0, 50.0, 54.0), "deg"))
    with tempfile.TemporaryDirectory() as folder:
        space = Path(folder) / "space.toml"
        space.write_text(SPACE, encoding="utf-8")
        free = dimensions(load_sheet(DATA / "gundi.toml"), load_space(space), [], Path(folder))
        shop = Workshop(load_sheet(DATA / "gundi.toml"), free, Bounds(1e9, float("inf"), None))
        base = shop.build(shop.now)
        assert isinstance(base, Setup)
        with opened(aims, yard_of(base.truck.model), Path(folder) / "store.sqlite", workers=1, driver="steady", seed=1,
                    unknowns=(), on_device=True) as ground:
            began = time.perf_counter()
            effort = Effort(30, most=32, confirm=repeats, batch=15)
            found = search(shop, ground, effort, 1)
            answer = propose(found, effort)
            spent, driven = time.perf_counter() - began, ground.run_trials
            built = [shop.build(genes) for genes in product(*(range(len(one.options)) for one in free))]
            everything = [one for one in built if isinstance(one, Setup)]
            found.scores.find((one, range(repeats)) for one in everything)
            table = {one.genes: found.scores.of(one, range(repeats)) for one in everything}
    mean = {genes: float(sample.mean()) for genes, sample in table.items()}
    best = max(mean, key=lambda genes: mean[genes])
    names = {one.genes: one.name for one in everything}
    spread = {genes: float(sample.mean(axis=1).std(ddof=1) / np.sqrt(len(sample))) for genes, sample in table.items()}
    single = {g: m for g, m in mean.items() if sum(a != b for a, b in zip(g, shop.now, strict=True)) == 1}
    alone = max(single, key=lambda genes: single[genes])
    return {
        "set-ups of the grid": len(everything), "that cannot be built": len(built) - len(everything),
        "driven by the search": len(found.driven), "trials of the search": driven, "s of the search": spent,
        "trials of all": ground.run_trials, "as it is": [mean[shop.now], spread[shop.now]],
        "best of the grid": [names[best], mean[best], spread[best]],
        "best single change": [names[alone], mean[alone], spread[alone]],
        "proposed": [[one.setup.name, mean[one.setup.genes], spread[one.setup.genes]] for one in answer.proposals],
        "rank of the first proposed": 1 + sum(m > mean[answer.proposals[0].setup.genes] for m in mean.values()),
        "grid": {names[g]: [float(v) for v in table[g].mean(axis=0)] for g in table},
    }  # fmt: skip


def main() -> None:
    """Run what is asked for."""
    for name in sys.argv[1:] or ("agreement",):
        began = time.perf_counter()
        answer = {"agreement": agreement, "cost": cost, "grids": grids, "explore": explore}[name]()
        print(json.dumps({name: answer, "s": time.perf_counter() - began}), flush=True)


if __name__ == "__main__":
    main()
