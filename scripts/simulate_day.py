"""Make the example log of the invented scenario: a day on the rocks with the truck of the simulated readings.

    python3 scripts/simulate_day.py [FILE]

Every try is one simulated trial of the simulated truck, with a grip and a hand that its builder does not know. A few
minutes on two cores; the same seed gives the same file.
"""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)
from simulate_bench import SEED  # noqa: E402

LINES = (
    ("slab step", "ledge:29", "slate, dry"),
    ("chute", "climb:39.5", "slate, dry"),
    ("traverse", "side-hill:37.5", "slate, dry"),
    ("two stairs", "ledge-on-slope:19,slope=15", "slate, dry"),
    ("long notch", "v-notch:58", "slate, dry"),
    ("whaleback", "hump:58.5", "slate, dry"),
    ("boulder garden", "boulders:55", "sandstone, dusty"),
    ("fallen log", "log:40,buried=20", "sandstone, dusty"),
)
BENCH_GRIP = 0.92
TRUE_GRIP = {"slate, dry": 0.93, "sandstone, dusty": 0.86}
"""Of the day over what the slip board said of the bench."""
TRIES = {"as fitted": 5, "battery forward": 4}
HEAD = """\
# Simulated attempts of an invented truck: nobody drove these lines.
# Made by scripts/simulate_day.py, seed {seed}. The truth behind them, which a builder would not know: grip {grips} of
# what the slip board said, and a hand that starts and steers less exactly than the simulated driver.
"""


def main() -> int:
    """Drive the day and write the log."""
    if Path(sys.prefix) != environment.HOME and not all(find_spec(name) for name in ("pint", "tomlkit", "pybullet")):
        return environment.call([str(environment.ensure([])), __file__, *sys.argv[1:]], environment.ROOT)
    sys.path.insert(0, str(environment.ROOT))
    import tomlkit

    from models import scenario

    target = Path(sys.argv[1]) if len(sys.argv) > 1 else scenario.DATA / "runs" / "gundi.toml"
    data = {
        "schema": 1, "date": "2026-11-22", "place": "invented quarry", "driver": "builder", "weather": "dry, 9 C",
        "battery": "two cells, full", "invented": True, "simulated": True,
        "configuration": [
            {"name": "as fitted", "build": "../fitted/gundi.toml"},
            {"name": "battery forward", "build": "../fitted/gundi.toml",
             "changes": ["../changes/gundi/battery-forward.toml"]},
        ],
        "line": [{"name": n, "obstacle": o, "surface": s} for n, o, s in LINES],
        "attempt": drive(),
    }  # fmt: skip
    grips = " and ".join(f"{factor} ({surface})" for surface, factor in TRUE_GRIP.items())
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(HEAD.format(seed=SEED, grips=grips) + tomlkit.dumps(data), encoding="utf-8")
    print(f"Wrote {target}")
    return 0


def drive() -> list[dict[str, object]]:
    """Every try of the day, as it goes into the log."""
    from dataclasses import replace

    import numpy as np

    from models import scenario
    from models.bench.simulate_readings import real_truck
    from models.change import load_change
    from models.configuration import configure, load_configuration
    from models.massprops import truck_properties, wheel_loads
    from models.stance import stances
    from sim.batch.study import make_task, yard_of
    from sim.trial import ground_cache, perform
    from sim.trial.luck import Variation
    from sim.trial.truck import assemble

    sheet = load_configuration(scenario.builds()[0]).sheet
    real = real_truck(sheet, np.random.default_rng(SEED), loose_g=0.021 * 1e3 * truck_properties(sheet).mass)
    # The slip board read the grip at the pressure under this truck, so that is where it holds.
    stood = zip(("front", "rear"), stances(real, wheel_loads(real)), strict=True)
    tyres = {
        end: getattr(real.tyres, end).model_copy(
            update={"grip": BENCH_GRIP, "grip_at_kpa": stance.load / stance.patch_area / 1000.0}
        )
        for end, stance in stood
    }
    real = real.model_copy(update={"tyres": real.tyres.model_copy(update=tyres)})
    forward = load_change(scenario.change("gundi", "battery-forward"))
    trucks = {"as fitted": assemble(configure(real)), "battery forward": assemble(configure(real, [forward]))}
    yard = yard_of(trucks["as fitted"].model)
    hand = Variation(start_offset_mm=14, heading_deg=4, grip_percent=5)
    found: list[dict[str, object]] = []
    for name, obstacle, surface in LINES:
        where, level = ground_cache.split(obstacle)
        for configuration, tries in TRIES.items():
            truck = trucks[configuration]
            outcomes = []
            for repeat in range(tries):
                task = make_task(
                    truck.hash, where, level, repeat, yard=yard, driver_name="bump", seed=SEED, variation=hand
                )
                grip = task.draw.grip_scale * TRUE_GRIP[surface]
                result = perform.perform(
                    {truck.hash: truck.model}, replace(task, draw=replace(task.draw, grip_scale=grip))
                )
                outcomes.append("cleared" if result.outcome == "cleared" else f"{result.outcome}: {result.reason}")
            print(f"{name:16s} {configuration:16s} {outcomes}", flush=True)
            found.append({"line": name, "configuration": configuration, "tries": outcomes})
    return found


if __name__ == "__main__":
    sys.exit(main())
