"""Measure the speed of the inner loop and of the whole job, beside what one would use otherwise.

    python3 scripts/bench.py            a table; about three minutes on two cores
    python3 scripts/bench.py --quick    without the generic engines and the batches
    python3 scripts/bench.py --json     the same as JSON
    python3 scripts/bench.py --picture FILE.png

Times of steps are processor time of the one thread, so that other work on the machine moves them little. The floor is
timed in between, all the time: ratios are taken through it, so that a machine that changes its clock moves both sides.
"""

import argparse
import json
import statistics
import sys
from importlib.util import find_spec
from pathlib import Path

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)

BUILD = Path("models/scenario_data/gundi.toml")
EASY_MM, HARD_MM = 22.0, 39.0
"""Ledges: one that a generic engine may climb too, and one that takes ours over its belly."""


def ledge_for(model: object, height_mm: float) -> object:
    """The ground of a manoeuvre."""
    from terrain import catalog

    radius = float(model.tyres[0].row_radius.max())  # type: ignore[attr-defined]
    return catalog.make("ledge", height_mm, wheelbase=model.wheelbase, tyre_radius=radius, seed=1)  # type: ignore[attr-defined]


def measure(quick: bool) -> dict[str, object]:
    """Everything measured, under the names of the JSON output."""
    import sim.physics.engine_bullet  # noqa: F401, I001  (keeps PyBullet's banner quiet, so before all else that imports it)
    import bench_generic
    import bench_step
    import bench_study
    from sim.trial.truck import load_truck

    model = load_truck(environment.ROOT / BUILD).model
    easy, hard = ledge_for(model, EASY_MM), ledge_for(model, HARD_MM)
    ground = hard.ground  # type: ignore[attr-defined]
    steps = bench_step.time_steps(model, hard, "brisk")
    found: dict[str, object] = {
        "machine": bench_study.machine(),
        "manoeuvre": f"{HARD_MM:g} mm ledge, tyre radius {model.tyres[0].row_radius.max() * 1e3:g} mm, "
        f"{ground.spacing * 1e3:g} mm ground of {ground.z.shape[0]} x {ground.z.shape[1]} nodes, 1 ms step",
        "step_us": steps.step_us,
        "bullet_engine_us": steps.bullet_engine_us,
        "floor_us": steps.floor_us,
        "step_over_floor": steps.step_over_floor,
        "four_tyres_us": steps.four_tyres_us,
        "four_tyres_over_floor": steps.four_tyres_over_floor,
        "rtf": bench_study.real_time_factor(steps.step_us),
        "parts_us": steps.parts,
        "crossed": steps.crossed,
        "hull_share": steps.hull_share,
        "belly_share": steps.belly_share,
        "growth_us": bench_study.growth(),
    }
    if quick:
        return found
    gentle = bench_step.time_steps(model, easy, "bump")
    print("generic contact ...", file=sys.stderr)
    pace = bench_step.Floor(model).block
    rivals = {
        f"{height:g} mm": [
            bench_generic.bullet(model, ledge, 8.0, pace),
            bench_generic.mujoco_run(model, ledge, 8.0, "cylinder", pace),
            bench_generic.mujoco_run(model, ledge, 8.0, "ellipsoid", pace),
        ]
        for height, ledge in ((EASY_MM, easy), (HARD_MM, hard))
    }
    print("batches, stores and starts ...", file=sys.stderr)
    # In turn, so that a machine that slows down slows both.
    rounds = [(bench_study.batch_speed(1, 12).per_second, bench_study.batch_speed(2, 24).per_second) for _ in range(3)]
    one, two = (statistics.median(column) for column in zip(*rounds, strict=True))
    cold, warm, sheet = bench_study.start_seconds()
    ours = {f"{EASY_MM:g} mm": gentle.step_over_floor, f"{HARD_MM:g} mm": steps.step_over_floor}
    table = {
        height: [
            vars(rival) | {"crossed": rival.crossed, "over_step": rival.step_us / rival.floor_us / ours[height]}
            for rival in row
        ]
        for height, row in rivals.items()
    }
    low = table[f"{EASY_MM:g} mm"]
    return found | {
        "easy_step_us": gentle.step_us,
        "easy_crossed": gentle.crossed,
        "easy_step_over_floor": gentle.step_over_floor,
        "generic": table,
        "generic_bullet_us": low[0]["step_us"],
        "generic_mujoco_us": min(r["step_us"] for r in low[1:]),
        "generic_bullet_over_step": low[0]["over_step"],
        "generic_mujoco_over_step": min(r["over_step"] for r in low[1:]),
        "trials_per_s_1": one,
        "trials_per_s_2": two,
        "two_over_one": statistics.median(b / a for a, b in rounds),
        "rss_mb": bench_study.worker_mb(),
        "cold_start_s": cold,
        "warm_start_s": warm,
        "sheet_start_s": sheet,
        "configurations_ms": bench_study.configurations_ms(),
        "store_ms": bench_study.store_growth(),
    }


def has_project() -> bool:
    """Whether this interpreter already has what is measured here."""
    return all(find_spec(name) is not None for name in ("numba", "pybullet", "mujoco"))


def show(found: dict[str, object]) -> None:
    """Print the table."""
    print(f"{found['machine']}\n{found['manoeuvre']}\n")
    for key, value in found.items():
        if isinstance(value, float):
            print(f"  {key:24s} {value:12.2f}")
        elif isinstance(value, bool):
            print(f"  {key:24s} {'yes' if value else 'no':>12s}")
        elif isinstance(value, dict) and key != "generic":
            print(f"  {key}")
            for name, entry in value.items():
                parts = entry.items() if isinstance(entry, dict) else [("", entry)]
                print(f"      {name:24s} {'  '.join(f'{k} {v:.2f}'.strip() for k, v in parts)}")
    for height, rivals in found.get("generic", {}).items():  # type: ignore[attr-defined]
        for rival in rivals:
            crossed = "crossed" if rival["crossed"] else "not crossed"
            way = f"{rival['reached_mm']:.0f} of {rival['finish_mm']:.0f} mm in {rival['seconds']:.1f} s"
            print(
                f"  {height} ledge, {rival['name']}: {rival['step_us']:.0f} us a step, "
                f"{rival['over_step']:.0f} x ours; {crossed}, {way}; {rival['settings']}"
            )


def draw(found: dict[str, object], file: Path) -> None:
    """Draw time per step on a logarithmic axis, ours split by part."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    rivals = next(iter(found["generic"].values()))  # type: ignore[attr-defined]
    names = [
        "cragbench",
        "its forces,\nPyBullet's dynamics",
        "PyBullet's step and exchange\nwithout any force",
        *[rival["name"].replace(", ", ",\n") for rival in rivals],
    ]
    times = [found["easy_step_us"], found["bullet_engine_us"], found["floor_us"], *[r["step_us"] for r in rivals]]
    figure, axes = plt.subplots(figsize=(9, 4), layout="constrained")
    bars = axes.barh(names[::-1], times[::-1], color=["#8a8a8a"] * (len(names) - 1) + ["#0072b2"])
    axes.bar_label(bars, [f"{t:.0f} µs" for t in times[::-1]], padding=3)
    axes.set_xscale("log")
    axes.set_xlabel("processor time per 1 ms step, µs")
    axes.set_title("One step of the same truck on the same ledge", loc="left")
    axes.margins(x=0.15)
    figure.savefig(file, dpi=150)


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="only the step itself")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="draw the comparison")
    options = parser.parse_args()
    if not has_project():
        python = environment.ensure(["test"])
        return environment.call([str(python), __file__, *sys.argv[1:]], environment.ROOT)
    sys.path.insert(0, str(environment.ROOT))
    found = measure(options.quick)
    if options.json:
        print(json.dumps(found, indent=2))
    else:
        show(found)
    if options.picture and not options.quick:
        draw(found, options.picture)
        print(f"wrote {options.picture}")
    return 0


if __name__ == "__main__":
    sys.exit(environment.guarded(main))
