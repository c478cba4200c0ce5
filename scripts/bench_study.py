"""Whole-job speed: trials a second on one and two workers, time to the first result, memory, and how cost grows."""

from __future__ import annotations

import os
import pickle
import re
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

from models.rigid import RigidModel
from sim.physics.simulation import STEP
from terrain import catalog

ROOT = Path(__file__).resolve().parent.parent
BUILD = ROOT / "models" / "scenario_data" / "gundi.toml"
CHANGE = ROOT / "models" / "scenario_data" / "changes" / "gundi" / "battery-forward.toml"


@dataclass(frozen=True)
class Speed:
    """What a batch did."""

    trials: int
    seconds: float

    @property
    def per_second(self) -> float:
        """Trials a second."""
        return self.trials / self.seconds


def _plan(folder: Path, repeats: int) -> Path:
    plan = folder / "bench.toml"
    plan.write_text(
        f"""schema = 1
name = "speed"
seed = 7
repeats = {repeats}
drivers = ["bump"]

[[configuration]]
name = "pack back"
build = "{BUILD}"

[[configuration]]
name = "pack forward"
build = "{BUILD}"
changes = ["{CHANGE}"]

[[obstacle]]
family = "ledge"
levels = [24, 30]

[[obstacle]]
family = "side-hill"
levels = [36]
""",
        encoding="utf-8",
    )
    return plan


def batch_speed(workers: int, repeats: int) -> Speed:
    """Run a small study with warm workers; the clock covers what a person waits for after the workers are up."""
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare

    with tempfile.TemporaryDirectory() as folder:
        study = prepare(_plan(Path(folder), repeats))
        marks: list[tuple[float, int]] = []
        store = Path(folder) / "store.sqlite"
        run_study(study, store, workers=workers, watch=lambda p: marks.append((time.perf_counter(), p.done)))
        first = next(m for m in marks if m[1] > 0)
        last = marks[-1]
        trials = last[1] - first[1]
        return Speed(trials, last[0] - first[0])


WORKER = """
import pickle, sys
trucks = pickle.loads(sys.stdin.buffer.read())
from sim.trial import perform
from sim.trial.luck import Variation, draw
from sim.batch.study import make_task, yard_of
(name, model), = trucks.items()
task = make_task(name, "ledge", 24.0, 0, yard=yard_of(model), driver_name="bump", seed=1,
                 variation=Variation())
perform.perform(trucks, task)
# Of this process alone: the resource counter would start from the parent's size.
print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))
"""


def worker_mb() -> float:
    """Peak memory of a process that does what a worker does: takes models, runs a trial; MB."""
    from sim.trial.truck import load_truck

    truck = load_truck(BUILD)
    done = subprocess.run(
        [sys.executable, "-c", WORKER], input=pickle.dumps({truck.hash: truck.model}), capture_output=True, check=False,
        cwd=ROOT, env=dict(os.environ) | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    if done.returncode != 0:
        raise RuntimeError(done.stderr.decode()[-400:])
    return int(done.stdout) / 1024.0


def command_seconds(arguments: list[str], cache: Path | None = None, tries: int = 3) -> float:
    """Fastest of a few runs of the command line, s; ``cache`` names a folder for compiled kernels."""
    environment = dict(os.environ)
    if cache is not None:
        environment["CRAGBENCH_CACHE"] = str(cache)
        environment.pop("NUMBA_CACHE_DIR", None)
    best = float("inf")
    for _ in range(tries):
        begun = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", "sim.cli.main", *arguments], cwd=ROOT, env=environment, capture_output=True,
            text=True, check=False,
        )  # fmt: skip
        best = min(best, time.perf_counter() - begun)
        if done.returncode != 0:
            raise RuntimeError(f"{' '.join(arguments)} failed: {done.stderr.strip()[-400:]}")
    return best


def start_seconds() -> tuple[float, float, float]:
    """Time of one ``drive`` with nothing compiled yet, the same again, and of one warm ``sheet``, s."""
    drive = ["drive", str(BUILD), "ledge:10", "--json"]
    with tempfile.TemporaryDirectory() as folder:
        cold = command_seconds(drive, Path(folder), tries=1)
        warm = command_seconds(drive, Path(folder))
    return cold, warm, command_seconds(["sheet", str(BUILD), "--json"])


def growth() -> dict[str, dict[str, float]]:
    """Cost per step (us) against ground size and number of tread elements, and of making ground (ms)."""
    from models.assemble import rigid_model
    from models.defaults import resolve
    from models.sheet import load_sheet
    from sim.physics.simulation import Simulation

    sheet = resolve(load_sheet(BUILD))
    found: dict[str, dict[str, float]] = {"ground nodes": {}, "elements round": {}}
    model = rigid_model(sheet)
    radius = float(model.tyres[0].row_radius.max())
    for factor in (1, 2, 4):
        ground = catalog.make(
            "ledge", 10, wheelbase=model.wheelbase * factor, tyre_radius=radius, seed=1, scale=sheet.scale
        ).ground
        with Simulation(model, ground) as simulation:
            found["ground nodes"][f"{ground.z.size:,}"] = _standing_us(simulation)
    ground = catalog.make("ledge", 10, wheelbase=model.wheelbase, tyre_radius=radius, seed=1).ground
    for elements in (48, 72, 96):
        with Simulation(with_elements(model, elements), ground) as simulation:
            found["elements round"][str(elements)] = _standing_us(simulation)
    return found


def configurations_ms() -> dict[str, float]:
    """Milliseconds a trial takes in one process when more trucks share a study and meet the same grounds in turn."""
    from sim.batch.study import make_task, yard_of
    from sim.trial import perform
    from sim.trial.luck import Variation
    from sim.trial.truck import load_truck

    first = load_truck(BUILD)
    found = {}
    for count in (1, 4, 16):
        trucks = {first.hash: first.model}
        for k in range(1, count):
            shifted = replace(first.model.bodies[0], p_BBcm=first.model.bodies[0].p_BBcm + (1e-4 * k, 0.0, 0.0))
            trucks[f"{first.hash}-{k}"] = replace(first.model, bodies=(shifted, *first.model.bodies[1:]))
        tasks = [
            make_task(name, "ledge", 15.0, repeat, yard=yard_of(first.model), driver_name="steady", seed=1,
                      variation=Variation())
            for repeat in range(16 // count) for name in trucks
        ]  # fmt: skip
        perform.perform(trucks, tasks[0])
        begun = time.thread_time()
        for task in tasks:
            perform.perform(trucks, task)
        found[str(count)] = (time.thread_time() - begun) / len(tasks) * 1e3
    return found


def store_growth() -> dict[str, dict[str, float]]:
    """Milliseconds to write a finished trial, and once at a batch's start to learn what is done, by trials in store.

    By the clock, for a write ends when it is on the disk.
    """
    from sim.batch.study import make_task
    from sim.store.store import Store
    from sim.trial.ground_cache import Yard
    from sim.trial.luck import Variation
    from sim.trial.task import RECORD_COLUMNS, Record, Report, Versions

    versions = Versions("bench", "bench")
    numbers = dict.fromkeys(RECORD_COLUMNS[2:], 1) | {"outcome": "cleared", "reason": "crossed the finish"}
    record = Record(**numbers)  # type: ignore[arg-type]
    found: dict[str, dict[str, float]] = {"write": {}, "resume": {}, "megabytes": {}}

    def tasks(first: int, count: int) -> list[object]:
        return [
            make_task("truck", "ledge", 10.0, first + k, yard=Yard.from_text("134x27@24"), driver_name="steady", seed=1,
                      variation=Variation())
            for k in range(count)
        ]  # fmt: skip

    with tempfile.TemporaryDirectory() as folder:
        path, done = Path(folder) / "store.sqlite", 0
        for size in (1_000, 10_000, 100_000):
            with Store(path, write=True) as store:
                while done < size:
                    batch = tasks(done, min(5_000, size - done))
                    store.add([Report(task, record, None, 0.1) for task in batch], versions)  # type: ignore[arg-type]
                    done += len(batch)
                times = []
                for task in tasks(10_000_000 + size, 60):
                    begun = time.perf_counter()
                    store.add([Report(task, record, None, 0.1)], versions)  # type: ignore[arg-type]
                    times.append(time.perf_counter() - begun)
                begun = time.perf_counter()
                store.done()
                label = f"{size:,}"
                found["resume"][label] = (time.perf_counter() - begun) * 1e3
                found["write"][label] = statistics.median(times) * 1e3
            found["megabytes"][label] = path.stat().st_size / 2**20
    return found


def with_elements(model: RigidModel, n_round: int) -> RigidModel:
    """The same tyres with another number of tread elements round: each carries its share."""
    share = model.tyres[0].n_round / n_round
    rings = tuple(
        replace(ring, n_round=n_round, law_force=ring.law_force * share,
                bristle_stiffness=ring.bristle_stiffness * share, element_area=ring.element_area * share)
        for ring in model.tyres
    )
    return replace(model, tyres=rings)  # type: ignore[arg-type]


def _standing_us(simulation: object) -> float:
    from sim.physics.simulation import Simulation

    assert isinstance(simulation, Simulation)
    simulation.place(0.0, 0.0, 0.0)
    simulation.command(0.0, 0.0, True)
    simulation.advance(300)
    best = float("inf")
    for _ in range(7):
        begun = time.thread_time()
        simulation.advance(250)
        best = min(best, (time.thread_time() - begun) / 250 * 1e6)
    return best


def real_time_factor(step_us: float) -> float:
    """Simulated over computing time."""
    return STEP / (step_us * 1e-6)


def machine() -> str:
    """Processor and load, for the record."""
    try:
        text = Path("/proc/cpuinfo").read_text(encoding="utf-8")
        name = (re.search(r"model name\s*:\s*(.*)", text) or [None, "unknown"])[1]
    except OSError:
        name = "unknown"
    return f"{name}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
