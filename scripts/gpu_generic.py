"""The same truck on the same ledge side by side: a generic engine made for graphics processors, ours there, our cores.

    python3 scripts/gpu_generic.py worlds     MuJoCo Warp (packages mujoco-warp, warp-lang), by worlds at once
    python3 scripts/gpu_generic.py ours       ours on the device, by trials at once
    python3 scripts/gpu_generic.py cores      ours by the normal batch on all cores

Each prints one JSON line; several may be given. Truck, ledge and wheel speed of the generic engine as in
``bench_generic.py``, its step the same; every world starts elsewhere within a cell or two. Ours drive whole trials.
Its cylinders lie on more than the 50 pieces of ground that it looks at, and are thrown where cells are fine: they get
every fourth node.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from generic_truck import TREAD_SPEED, mujoco_text, spring_rates, wheel_size  # noqa: E402
from models.scenario import DATA  # noqa: E402
from sim.batch.study import make_task, yard_of  # noqa: E402
from sim.physics.simulation import STEP  # noqa: E402
from sim.trial import ground_cache  # noqa: E402
from sim.trial.luck import Variation  # noqa: E402
from sim.trial.truck import load_truck  # noqa: E402
from sim.validation.mujoco_truck import heights  # noqa: E402
from terrain.heightfield import Heightfield  # noqa: E402

LEDGE_MM = 22.0
SETTLE, DRIVE, TIMED = 300, 900, 50
"""Steps: until the truck stands, until its front wheels are at the ledge, of each of three timings."""
CONTACTS, ROWS = 64, 192
"""Room for contacts and rows of constraints, a world each."""
ASIDE = 0.004
"""m; width of the places at which worlds start."""


def _truck() -> Any:
    return load_truck(DATA / "gundi.toml")


def _ledge(model: Any) -> Any:
    """Smooth, so that all trials and worlds share it."""
    return ground_cache.ground("ledge", LEDGE_MM, yard_of(model).text(), 0.0, 0)


def worlds(counts: list[int], wheel: str, every: int) -> dict[str, object]:
    """Time of one step of all worlds on every so manieth node; what was left out and how far they came."""
    mujoco, wp, mjw = (import_module(name) for name in ("mujoco", "warp", "mujoco_warp"))
    model = _truck().model
    obstacle = _ledge(model)
    fine = obstacle.ground
    ground = Heightfield.of(fine.z[::every, ::every], fine.origin, every * fine.spacing)
    world = mujoco.MjModel.from_xml_string(mujoco_text(model, ground, wheel, spring_rates(model, fine)))
    world.hfield_data[:] = heights(ground)
    start = mujoco.MjData(world)
    start.qpos[:3] = (obstacle.start.x, obstacle.start.y, 0.001)
    mujoco.mj_forward(world, start)
    speed = TREAD_SPEED * model.wheelbase / wheel_size(model)[0]
    there = mjw.put_model(world)
    there.opt.warn_overflow = 0
    found: dict[int, object] = {}
    for count in counts:
        began = time.perf_counter()
        data = mjw.put_data(world, start, nworld=count, nconmax=CONTACTS, njmax=ROWS)
        qpos = data.qpos.numpy()
        qpos[:, :2] += ASIDE * (np.random.default_rng(1).random((count, 2)) - 0.5)
        data.qpos = wp.array(qpos, dtype=float)
        mjw.step(there, data)  # compiles
        wp.synchronize()
        with wp.ScopedCapture() as capture:
            mjw.step(there, data)
        compiled = time.perf_counter() - began
        _steps(wp, capture.graph, SETTLE)
        data.ctrl.fill_(speed)
        _steps(wp, capture.graph, DRIVE)
        spent = sorted(_steps(wp, capture.graph, TIMED) for _ in range(3))
        qpos = data.qpos.numpy()
        sound = np.isfinite(qpos).all(axis=1)
        found[count] = {
            "us a step of all": 1e6 * spent[1] / TIMED, "us a world-step": 1e6 * spent[1] / TIMED / count,
            "first step s": compiled, "worlds gone wrong": int((~sound).sum()),
            "contacts a world": float(data.nacon.numpy()[0]) / count,
            "forward mm, 10 50 90 %": np.round(1e3 * (np.percentile(qpos[sound, 0], (10, 50, 90))
                                                       - obstacle.start.x), 1).tolist(),
            "overflow": _overflow(data), "memory MB": wp.get_mempool_used_mem_high("cuda:0") / 2**20,
        }  # fmt: skip
        print(json.dumps({wheel: {count: found[count]}}), flush=True)
        del data, capture
    return {"mujoco-warp": mjw.__version__, "warp": wp.__version__, "wheel": wheel, "cell mm": 1e3 * ground.spacing,
            "by worlds": found}  # fmt: skip


def _steps(wp: Any, graph: Any, count: int) -> float:
    began = time.perf_counter()
    for _ in range(count):
        wp.capture_launch(graph)
    wp.synchronize()
    return time.perf_counter() - began


def _overflow(data: Any) -> list[int]:
    """Which flags of overflow are up in how many worlds."""
    flags = getattr(data, "overflow", None)
    if flags is None:
        return []
    values = np.atleast_1d(flags.numpy())
    return [int(((values >> bit) & 1).sum()) for bit in range(12)]


def _tasks(count: int) -> tuple[dict[str, Any], list[Any]]:
    truck = _truck()
    yard = yard_of(truck.model)
    return {truck.hash: truck.model}, [
        make_task(truck.hash, "ledge", LEDGE_MM, repeat, yard=yard, driver_name="steady", seed=1,
                  variation=Variation(roughness_mm=0.0))
        for repeat in range(count)
    ]  # fmt: skip


def ours(counts: list[int]) -> dict[str, object]:
    """Time of one step of all trials on the device, all with luck of their own."""
    import gpu_study

    trucks, wanted = _tasks(512)
    return {str(count): gpu_study.timed(gpu_study.seated(count, trucks, wanted), count) for count in counts}


def cores(trials: int) -> dict[str, object]:
    """The normal batch on all cores: simulated time over time."""
    import gpu_study
    from sim.batch.session import PERFORM
    from sim.batch.worker import Job
    from sim.batch.worker_pool import WorkerPool

    trucks, wanted = _tasks(trials)
    processes = len(os.sched_getaffinity(0))
    hands = WorkerPool(Job(PERFORM, trucks, 4096, 0), processes)
    gpu_study.run(hands, wanted[: 4 * processes])  # compiles, or reads what is compiled
    began = time.perf_counter()
    answers = gpu_study.run(hands, wanted)
    spent = time.perf_counter() - began
    hands.close()
    simulated = sum(record.time_s for record in answers.values())
    return {"processes": processes, "trials": trials, "s": spent, "trials a second": trials / spent,
            "simulated s a trial": simulated / trials, "us a trial-step": 1e6 * spent / (simulated / STEP),
            "us a step of one core": 1e6 * spent * processes / (simulated / STEP)}  # fmt: skip


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="+", choices=["worlds", "ours", "cores"])
    parser.add_argument("--counts", default="1,1024,4096,16384,32768")
    parser.add_argument("--wheels", default="ellipsoid:1,cylinder:4", help="Shape, and every how manieth node.")
    parser.add_argument("--trials", type=int, default=1600)
    asked = parser.parse_args()
    counts = [int(text) for text in asked.counts.split(",")]
    for name in asked.what:
        if name == "worlds":
            for text in asked.wheels.split(","):
                wheel, _, every = text.partition(":")
                print(json.dumps({name: worlds(counts, wheel, int(every))}), flush=True)
        else:
            print(json.dumps({name: ours(counts) if name == "ours" else cores(asked.trials)}), flush=True)


if __name__ == "__main__":
    main()
