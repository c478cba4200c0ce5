"""Make the example readings of the invented scenario: a truck a little off its sheet, weighed by a simulated scale.

    python3 scripts/simulate_bench.py [FOLDER]

Writes one readings file per truck, marked as simulated. The same seed gives the same files.
"""

from __future__ import annotations

import sys
from importlib.util import find_spec
from pathlib import Path

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)

SEED = 1124
HEAD = """\
# Simulated readings of an invented truck: no scale ever showed these numbers.
# Made by scripts/simulate_bench.py, seed {seed}: a truck that came out a little off its sheet, on a scale with
# step, scatter and error. The truth behind them:
# {truth}.
"""
WEIGHED = ("battery", "body shell", "motor", "steering servo")


def main() -> int:
    """Write the files."""
    if Path(sys.prefix) != environment.HOME and not all(find_spec(name) for name in ("pint", "tomlkit", "scipy")):
        return environment.call([str(environment.ensure([])), __file__, *sys.argv[1:]], environment.ROOT)
    sys.path.insert(0, str(environment.ROOT))
    import numpy as np
    import tomlkit

    from models import scenario
    from models.bench.simulate_measures import simulate_measures
    from models.bench.simulate_readings import Instruments, real_truck
    from models.configuration import load_configuration
    from models.massprops import truck_properties, wheel_loads

    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else scenario.DATA / "readings"
    folder.mkdir(parents=True, exist_ok=True)
    for number, build in enumerate(scenario.builds()):
        rng = np.random.default_rng(SEED + number)
        sheet = load_configuration(build).sheet
        real = real_truck(sheet, rng, loose_g=0.021 * 1e3 * truck_properties(sheet).mass)
        step = 1e-3 if sheet.scale > 12 else 2e-3
        tools = Instruments(step=step, scatter=0.6 * step, zero=step, ruler=0.5e-3)
        names = [part.name for part in sheet.parts if part.name in WEIGHED]
        data = simulate_measures(real, sheet, tools, rng, grip=0.92, surface="slate, dry", weighed=names)
        data["date"] = "2026-11-14"
        truck = truck_properties(real)
        truth = (
            f"{1e3 * truck.mass:.1f} g, {wheel_loads(real, truck).front_percent:.1f} % front, centre of gravity "
            f"{1e3 * truck.cg[0]:.1f} mm ahead of the rear axle and {1e3 * truck.cg[2]:.1f} mm up, grip 0.92"
        )
        text = HEAD.format(seed=SEED + number, truth=truth) + tomlkit.dumps(data)
        (folder / build.name).write_text(text, encoding="utf-8")
        print(f"Wrote {folder / build.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
