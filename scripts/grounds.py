"""What ground costs: time to make a course and to import a large mesh, and memory per worker with shared ground.

``python3 scripts/grounds.py [--json]``; a minute or two. Memory is the proportional set size of Linux: a page that n
processes share counts an n-th for each.
"""

import argparse
import json
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from unittest import mock

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)

# The project itself is imported where it is used: a worker process reads this file too, and its memory is measured.
DATA = environment.ROOT / "models" / "scenario_data"
BUILD, CHANGE = DATA / "gundi.toml", DATA / "changes" / "gundi" / "battery-forward.toml"
WHEELBASE, TYRE_RADIUS, SCALE = 0.134, 0.028, 24.0
"""m; of the truck that ground is sized for: its cell is 2 mm."""
SCAN_NODES = (2200, 1100)
WORKERS, REPEATS = 2, 8
COURSE = {
    "schema": 1,
    "name": "four by two",
    "width_mm": 2000.0,
    "leg": [
        {"free_mm": 500.0, "undulation_mm": 3.0},
        {"gate": "1"},
        {"obstacle": "boulders:22"},
        {"obstacle": "ledge:16"},
        {"free_mm": 350.0, "undulation_mm": 4.0},
        {"gate": "2", "left_mm": 60.0},
        {"obstacle": "twist:14"},
        {"obstacle": "log:20"},
        {"free_mm": 400.0, "undulation_mm": 3.0},
    ],
}


@dataclass(frozen=True)
class Memory:
    """MB of one worker, in the second half of a batch."""

    mean: float
    most: float
    trials_per_s: float
    trial_cpu_s: float


def hills(shape):
    """Smooth hills of some centimetres on a grid of millimetres, m."""
    import numpy as np

    x, y = np.meshgrid(1e-3 * np.arange(shape[0]), 1e-3 * np.arange(shape[1]), indexing="ij")
    rough = np.random.default_rng(1).normal(0.0, 5e-5, shape)
    return np.asarray(0.02 * np.sin(9.0 * x) * np.cos(7.0 * y + x) + 0.006 * np.sin(31.0 * x + 23.0 * y) + rough)


def seconds(work: Callable[[], object]) -> tuple[float, float]:
    """Time by the clock and by the processor."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - clock, time.process_time() - processor


def course_seconds() -> tuple[float, float]:
    """A course of 4 m x 2 m at 2 mm."""
    from terrain import course_build
    from terrain.course_file import CourseFile
    from terrain.yardstick import Yardstick

    course, yard = CourseFile.model_validate(COURSE), Yardstick(WHEELBASE, TYRE_RADIUS, SCALE)
    made = []
    took = seconds(lambda: made.append(course_build.build(course, yard, seed=1).obstacle.ground))
    x0, x1, y0, y1 = made[0].extent
    if x1 - x0 < 4.0 or y1 - y0 < 2.0 - 1e-9 or made[0].spacing > 0.002 + 1e-9:
        raise SystemExit("the course is not 4 m x 2 m at 2 mm any more")
    return took


def mesh_seconds(folder: Path) -> dict[str, tuple[float, float]]:
    """A mesh of a million triangles, by kind of file."""
    import numpy as np
    import trimesh

    from terrain.importing import import_ground
    from terrain.intake import Intake
    from terrain.yardstick import Yardstick

    cell = Yardstick(WHEELBASE, TYRE_RADIUS, SCALE).cell
    nx, ny = 950, 530
    z = hills((nx, ny))
    node = np.arange(nx * ny).reshape(nx, ny)
    a, b, c, d = (part.ravel() for part in (node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]))
    x, y = np.meshgrid(np.arange(nx, dtype=float), np.arange(ny, dtype=float), indexing="ij")
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    mesh = trimesh.Trimesh(np.column_stack([x.ravel(), y.ravel(), 1e3 * z.ravel()]), faces, process=False)
    found = {}
    for suffix in (".stl", ".obj", ".ply", ".glb"):
        path = folder / f"million{suffix}"
        mesh.export(path)
        intake = Intake(unit="mm", up="z")
        found[suffix] = seconds(lambda path=path, intake=intake: import_ground(path, intake, cell))
        path.unlink()
    return found


def _proportional_mb(pid: int) -> float:
    """Proportional set size of a process, 0 while it starts or after it ended."""
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1]) / 1024.0
    except OSError:
        pass
    return 0.0


def memory(plan: Path, *, shared: bool) -> Memory:
    """Memory per worker of a batch over a large scan, with ground shared or each worker its own."""
    from sim.batch import worker_pool
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare
    from terrain import pool

    study = prepare(plan)
    crews = []
    samples = []
    over = threading.Event()

    def make(*args, **kwargs):
        crews.append(worker_pool.WorkerPool(*args, **kwargs))
        return crews[0]

    def watch():
        while not over.wait(0.1):
            samples.extend(filter(None, map(_proportional_mb, crews[0].pids() if crews else [])))

    opened = pool.open_pool if shared else lambda: None
    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    marks = []
    with (
        mock.patch("sim.batch.worker_pool.open_pool", opened),
        mock.patch("sim.batch.session.WorkerPool", make),
        tempfile.TemporaryDirectory() as folder,
    ):
        store = Path(folder) / "s.sqlite"
        done = run_study(study, store, workers=WORKERS, watch=lambda p: marks.append((time.perf_counter(), p.done)))
    over.set()
    watcher.join()
    half = samples[len(samples) // 2 :]
    first = next(mark for mark in marks if mark[1] >= WORKERS)
    rate = (marks[-1][1] - first[1]) / (marks[-1][0] - first[0])
    return Memory(sum(half) / len(half), max(half), rate, done.trial_s / done.done)


def plan_over(folder: Path) -> tuple[Path, float]:
    """A plan of two trucks over a scan, and the size of what they drive: the scan and level ground round it, MB."""
    from sim.batch.study import prepare
    from sim.trial import ground_cache
    from terrain.ground_file import Description, save_ground
    from terrain.heightfield import Heightfield

    ground = Heightfield.of(hills(SCAN_NODES), (0.0, -0.5e-3 * (SCAN_NODES[1] - 1)), 1e-3)
    save_ground(folder / "scan.ground.npz", ground, Description(schema=1, name="scan"))
    plan = folder / "plan.toml"
    plan.write_text(
        f'schema = 1\nname = "memory"\nrepeats = {REPEATS}\n[[configuration]]\nname = "back"\nbuild = "{BUILD}"\n'
        f'[[configuration]]\nname = "forward"\nbuild = "{BUILD}"\nchanges = ["{CHANGE}"]\n'
        '[[obstacle]]\nfamily = "scan.ground.npz"\nlevels = [100]\n',
        encoding="utf-8",
    )
    study = prepare(plan)
    driven = ground_cache.ground(study.plan.obstacle[0].text, 100.0, study.yard.text(), None, 0)
    return plan, driven.ground.z.nbytes / 1e6


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print JSON")
    wanted = parser.parse_args()
    if find_spec("numba") is None:
        python = environment.ensure(["test"])
        return environment.call([str(python), __file__, *sys.argv[1:]], environment.ROOT)
    sys.path.insert(0, str(environment.ROOT))
    found = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        found["course_4x2_m_s"] = course_seconds()
        found["million_triangles_s"] = mesh_seconds(folder)
        if sys.platform == "linux":
            plan, found["scan_mb"] = plan_over(folder)
            memory(plan, shared=True)  # compiles what is not compiled yet
            for words, shared in (("shared", True), ("own", False)):
                found[words] = asdict(memory(plan, shared=shared))
    if wanted.json:
        print(json.dumps(found, indent=2))
        return 0
    print("course of 4 m x 2 m at 2 mm: {:.2f} s, {:.2f} s of processor time".format(*found["course_4x2_m_s"]))
    for suffix, took in found["million_triangles_s"].items():
        print("a million triangles as {}: {:.1f} s, {:.1f} s of processor time".format(suffix[1:].upper(), *took))
    for words in ("shared", "own"):
        if words in found:
            print(
                "scan of {:.0f} MB, ground {}: {mean:.0f} MB a worker, {most:.0f} at most; "
                "{trials_per_s:.2f} trials/s".format(found["scan_mb"], words, **found[words])
            )
    return 0


if __name__ == "__main__":
    sys.exit(environment.guarded(main))
