"""The device's kernels in single precision, tried: what they take and what it does to limits. Needs cragbench[gpu].

    python3 scripts/gpu_single.py run FILE [--single] [--moved-mm 0.0001]   costs and ladders of five families
    python3 scripts/gpu_single.py compare DOUBLE OTHER...                   outcomes and limits beside those in double

The sources are those of always. The compiler is told that a number with a point is single and that whole numbers beside
one become single; everything sent to the device is. ``--moved-mm`` starts every truck aside by so little: what
outcomes turn over then, hang on nothing that anybody could measure.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
from numba import cuda, types  # noqa: E402

import gpu_study  # noqa: E402
from sim.batch import device  # noqa: E402
from sim.batch.study import yard_of  # noqa: E402
from sim.trial.luck import Variation, draw  # noqa: E402
from sim.trial.task import Task  # noqa: E402

LADDERS = {
    "ledge": np.arange(34.0, 47.1, 1.0), "ledge-on-slope": np.arange(14.0, 40.1, 2.0),
    "climb": np.arange(45.0, 58.1, 1.0), "side-hill": np.arange(33.0, 43.1, 1.0), "descent": np.arange(44.0, 57.1, 1.0),
}  # fmt: skip
SEED = 5


def narrow() -> None:
    """Have all kernels compiled, and everything sent, in single precision. Before anything is compiled."""
    from numba.cuda.typeconv import rules
    from numba.cuda.typing.typeof import typeof_impl

    typeof_impl.register(float)(lambda value, context: types.float32)
    for whole in (types.int64, types.int32, types.intp):
        rules.default_type_manager.set_safe_convert(whole, types.float32)
    to_device, device_array = cuda.to_device, cuda.device_array
    cuda.to_device = lambda array: to_device(_single(array))
    cuda.device_array = lambda shape, dtype=np.float64: device_array(shape, _single(np.empty(0, dtype)).dtype)
    device.many.NUMBER = types.float32
    device.many.ONCE.clear()
    device.STEP = np.float32(device.STEP)  # type: ignore[misc]


def _single(array: Any) -> Any:
    array = np.asarray(array)
    return array.astype(np.float32) if array.dtype == np.float64 else array


def tasks(tries: int, moved_mm: float) -> list[Task]:
    """Every try on every level of its ladder, luck by try alone."""
    config, model = next(iter(gpu_study.TRUCKS.items()))
    yard = yard_of(model).text()
    found = []
    for family, levels in LADDERS.items():
        for repeat in range(tries):
            luck = draw(Variation(), SEED, family, 0.0, repeat)
            luck = replace(luck, offset_mm=luck.offset_mm + moved_mm)
            found += [Task(config, family, float(level), yard, "steady", SEED, repeat, luck) for level in levels]
    return found


def measured(tries: int, moved_mm: float, counts: list[int]) -> dict[str, object]:
    """Costs, then outcome, reason and time of every trial."""
    costs = {}
    for count in counts:
        costs[count] = gpu_study.timed(gpu_study.seated(count), count)
        print(json.dumps({count: costs[count]}), flush=True)
    wanted = tasks(tries, moved_mm)
    began = time.perf_counter()
    hands = device.Device(gpu_study.TRUCKS, seats=4096, grounds=len(wanted))
    records = gpu_study.run(hands, wanted)
    return {
        "costs": costs, "kernel": gpu_study.kernel() if counts else {}, "s": time.perf_counter() - began,
        "trials": [[one.obstacle, one.level, one.repeat, records[one].outcome, records[one].reason, records[one].time_s]
                   for one in wanted],
    }  # fmt: skip


def compared(usual: list[Any], other: list[Any]) -> dict[str, object]:
    """How many outcomes differ, and by family the mean shift of the limit with its error over tries."""
    found: dict[str, object] = {
        "trials": len(usual),
        "other outcome": sum(a[3] != b[3] for a, b in zip(usual, other, strict=True)),
        "cleared or not, otherwise": sum((a[3] == "cleared") != (b[3] == "cleared")
                                         for a, b in zip(usual, other, strict=True)),
        "invalid": [sum(one[3] == "invalid" for one in trials) for trials in (usual, other)],
        "other time": sum(a[5] != b[5] for a, b in zip(usual, other, strict=True)),
    }  # fmt: skip
    for family, levels in LADDERS.items():
        step = float(levels[1] - levels[0])
        limits = []
        for trials in (usual, other):
            counts: dict[int, int] = {}
            for name, _, repeat, outcome, *_ in trials:
                if name == family:
                    counts[repeat] = counts.get(repeat, 0) + (outcome == "cleared")
            limits.append(levels[0] - 0.5 * step + step * np.array([counts[k] for k in sorted(counts)]))
        shift = limits[1] - limits[0]
        found[family] = {
            "limit": float(limits[0].mean()), "shift": float(shift.mean()),
            "its standard error": float(shift.std(ddof=1) / np.sqrt(len(shift))),
            "tries that moved": int((shift != 0).sum()), "tries": len(shift),
        }  # fmt: skip
    return found


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["run", "compare"])
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--single", action="store_true")
    parser.add_argument("--moved-mm", type=float, default=0.0)
    parser.add_argument("--tries", type=int, default=24)
    parser.add_argument("--counts", default="1024,4096,16384")
    asked = parser.parse_args()
    if asked.what == "compare":
        usual, *others = (json.loads(file.read_text(encoding="utf-8")) for file in asked.files)
        for file, other in zip(asked.files[1:], others, strict=True):
            print(json.dumps({file.stem: compared(usual["trials"], other["trials"])}), flush=True)
        return
    if asked.single:
        narrow()
    found = measured(asked.tries, asked.moved_mm, [int(text) for text in asked.counts.split(",") if text])
    asked.files[0].write_text(json.dumps(found), encoding="utf-8")
    print(json.dumps({key: value for key, value in found.items() if key != "trials"}), flush=True)


if __name__ == "__main__":
    main()
