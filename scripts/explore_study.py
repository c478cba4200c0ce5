"""A search over two things checked against every set-up of their grid and the best single change.

    python3 scripts/explore_study.py OUT [--on gpu] [--battery-mm 3] [--brass-g 10] [--repeats 10] [--setups 24]

The truck and its brass are invented. The grid is driven in luck that the search has not seen, the same for all. Writes
OUT/explored.json, which can be drawn again, and OUT/explored.png; the store in OUT lets a stopped run go on.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from models.scenario import DATA  # noqa: E402
from models.sheet import load_sheet  # noqa: E402
from sim.batch.study import yard_of  # noqa: E402
from sim.explore.aim import Aim  # noqa: E402
from sim.explore.dimension import dimensions  # noqa: E402
from sim.explore.proposal import FRESH, propose  # noqa: E402
from sim.explore.search import Effort, SetupSearch, search  # noqa: E402
from sim.explore.space_file import load_space  # noqa: E402
from sim.explore.success_map import SuccessMap  # noqa: E402
from sim.explore.trial_ground import opened  # noqa: E402
from sim.explore.workshop import Genes, Setup, Workshop  # noqa: E402

SPACE = """schema = 1
name = "battery and brass on the invented 1/24"
invented = true
currency = "USD"
[[move]]
part = "battery"
along = ["battery tray"]
step_mm = {battery}
drill = {drill}
[[ballast]]
name = "front axle brass"
body = "front_axle"
at_mm = [143, 0, 20]
size_mm = [8, 40, 12]
most_g = 30
step_g = {brass}
price_per_g = 0.5
"""
AIMS = (
    Aim("climb", (48.0, 52.0, 56.0), "deg"),
    Aim("side-hill", (35.0, 38.0, 41.0), "deg"),
    Aim("descent", (45.0, 48.0, 52.0), "deg"),
)


def workshop(folder: Path, battery: float, brass: float, drill: bool) -> Workshop:
    """The invented 1/24 with a battery that moves and brass at its front axle."""
    space = folder / "space.toml"
    space.write_text(SPACE.format(battery=battery, brass=brass, drill=str(drill).lower()), encoding="utf-8")
    sheet = load_sheet(DATA / "gundi.toml")
    return Workshop(sheet, dimensions(sheet, load_space(space), [], folder))


def study(folder: Path, asked: argparse.Namespace) -> dict[str, object]:
    """Search, then drive the whole grid, and say where the search's answer stands in it."""
    shop = workshop(folder, asked.battery_mm, asked.brass_g, asked.drill)
    base = shop.build(shop.now)
    assert isinstance(base, Setup)
    effort = Effort(asked.setups, most=asked.repeats, confirm=asked.repeats, batch=asked.batch)
    with opened(AIMS, yard_of(base.truck.model), folder / "explored.sqlite", workers=asked.workers, driver="steady",
                seed=1, unknowns=(), on_device=asked.on == "gpu") as ground:
        began = time.perf_counter()
        found = search(shop, ground, effort, 1)
        answer = propose(found, effort)
        spent, driven = time.perf_counter() - began, ground.run_trials + ground.known_trials
        print(json.dumps({"set-ups": len(found.driven), "trials": driven, "s": spent}), flush=True)
        everything = [shop.build(genes) for genes in product(*(range(len(one.options)) for one in shop.dimensions))]
        grid = [one for one in everything if isinstance(one, Setup)]
        fresh = range(FRESH, FRESH + asked.repeats)
        found.scores.find((one, fresh) for one in grid)
        trials = ground.run_trials + ground.known_trials
    table = {one.genes: found.scores.of(one, fresh) for one in grid}
    draw(found, table, folder / "explored.png", asked.repeats)
    proposed = [one.setup.genes for one in answer.proposals]
    return {
        "set-ups of the grid": len(grid), "repeats": asked.repeats, "trials of the search": driven, "s of it": spent,
        "driven by the search": len(found.driven), "trials": trials, "s": time.perf_counter() - began,
    } | judged(shop, table, proposed)  # fmt: skip


def judged(shop: Workshop, table: Mapping[Genes, Any], proposed: Sequence[Genes]) -> dict[str, object]:
    """The grid's best, the best single change and what was proposed: name, mean over the aims, paired with the best."""
    mean = {genes: float(sample.mean()) for genes, sample in table.items()}
    best = max(mean, key=lambda genes: mean[genes])
    alone = max((g for g in mean if sum(a != b for a, b in zip(g, shop.now, strict=True)) == 1),
                key=lambda genes: mean[genes])

    def row(genes: Genes) -> list[object]:
        behind = (table[best] - table[genes]).mean(axis=1)
        return [shop.label(genes), mean[genes], float(behind.mean()), float(behind.std(ddof=1) / np.sqrt(len(behind))),
                1 + sum(other > mean[genes] for other in mean.values())]

    return {
        "row": "name, mean share cleared, behind the grid's best, standard error of that, rank in the grid",
        "as it is": row(shop.now), "best of the grid": row(best), "best single change": row(alone),
        "proposed": [row(genes) for genes in proposed],
        "grid": {shop.label(genes): [float(v) for v in sample.mean(axis=0)] for genes, sample in table.items()},
    }  # fmt: skip


def draw(found: SetupSearch, table: Mapping[Genes, Any], path: Path, repeats: int) -> None:
    """The grid as a picture."""
    from sim.chart.explore import success_map

    across, up = found.workshop.dimensions
    x, y = tuple(range(len(across.options))), tuple(range(len(up.options)))
    chance = np.full((len(x), len(y), len(AIMS)), np.nan)
    for (i, j), sample in table.items():
        chance[i, j] = sample.mean(axis=0)
    why = tuple(("",) * len(y) for _ in x)
    grid = SuccessMap(across, up, x, y, chance, why, "the invented 1/24 as it is", found.workshop.now, repeats)
    success_map(grid, tuple(aim.name for aim in AIMS), "Battery and brass on an invented 1/24").savefig(path, dpi=110)


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--on", default="cpu")
    parser.add_argument("--battery-mm", type=float, default=3.0)
    parser.add_argument("--brass-g", type=float, default=10.0)
    parser.add_argument("--repeats", type=int, default=10)
    parser.add_argument("--setups", type=int, default=24)
    parser.add_argument("--drill", action="store_true", help="Where the battery moves, holes must be drilled.")
    parser.add_argument("--batch", type=int, default=12)
    parser.add_argument("--workers", type=int, default=1)
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    answer = json.dumps(study(asked.out, asked), indent=1)
    (asked.out / "explored.json").write_text(answer + "\n", encoding="utf-8")
    print(answer)


if __name__ == "__main__":
    main()
