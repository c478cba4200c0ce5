"""What somebody who does not believe a verdict would try: other seeds, and changes that change nothing.

    .venv/bin/python scripts/sceptic.py --seeds 10 --nulls 200 --jobs 2 --out sceptic

README's ``shift`` is asked with other luck, each time by a process of its own: the same word? Do the values lie as far
apart as the stated interval says? Then changes of 0.01 g. Such a truck drives no better and no worse, only otherwise:
near a limit a trial is chaotic. 200 of them are dear to drive, and with one luck much alike. So with the luck of
every seed two of them are driven beside the truck as it is, to the same limits as ``shift`` finds; then each of 200
changes is one pair of the three trucks in twelve repeats drawn from all of them, and is judged as the command judges.
Prints Markdown. Answers stay in the folder: started again it goes on.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from itertools import permutations
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from scipy.stats import t as student

ROOT = Path(__file__).resolve().parent.parent
BUILD = ROOT / "models" / "scenario_data" / "gundi.toml"
ALIKE = (("battery", 0.01), ("motor", -0.01))
"""Parts of the trucks alike, and by how many grams they differ from the truck as it is."""
PRICE = 16.0
ERROR = 0.05


def asked(out: Path, name: str, words: Sequence[str]) -> dict[str, Any]:
    """Answer of a command as data: from its file, else by running it.

    :raises SystemExit: The command failed.
    """
    file = out / f"{name}.json"
    if not file.exists():
        work = out / name
        run = subprocess.run([sys.executable, "-m", "sim.cli.main", *words, "--out", str(work), "--workers", "1",
                              "--formats", "", "--json"], cwd=ROOT, capture_output=True, text=True, check=False)
        if run.returncode:
            raise SystemExit(f"{name}: {run.stderr.strip()}")
        file.with_suffix(".part").write_text(run.stdout, encoding="utf-8")
        file.with_suffix(".part").rename(file)
    answer: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return answer


def seeded(out: Path, seed: int) -> dict[str, Any]:
    """README's shift with the luck of a seed."""
    words = ["shift", str(BUILD), "battery", "--with", "battery tray", "--to", "115", "--seed", str(seed)]
    return asked(out, f"shift-{seed}", words)


def limits(out: Path, seed: int) -> list[Any]:
    """(trucks, lines, repeats) limits of the truck as it is and of those alike with the luck of a seed.

    From their file, else by driving them; what ``shift`` drove with that seed is known.
    """
    file = out / f"alike-{seed}.json"
    if not file.exists():
        found = drive(out / f"shift-{seed}" / "trials.sqlite", seed)
        file.with_suffix(".part").write_text(json.dumps(found), encoding="utf-8")
        file.with_suffix(".part").rename(file)
    read: list[Any] = json.loads(file.read_text(encoding="utf-8"))
    return read


def drive(store: Path, seed: int) -> list[Any]:
    """Drive the trucks alike as ``shift --luck-only`` does."""
    from models.change import Change
    from models.sheet import load_sheet
    from sim.decision.change_sets import drawer
    from sim.decision.effect import FEWEST, enough, paired
    from sim.decision.obstacle_mix import lines
    from sim.decision.runner import opened, yard

    sheet = load_sheet(BUILD)
    mass = {part.name: part.mass_g for part in sheet.parts}
    alike = drawer(sheet, [Change.model_validate({
        "schema": 1, "name": f"{part} {grams:+g} g", "price": PRICE, "currency": "USD",
        "replace": [{"part": part, "mass_g": (mass[part] or 0.0) + grams}]}) for part, grams in ALIKE])
    trucks = [alike.truck(0), *(alike.truck(1 << k) for k in range(len(ALIKE)))]
    mix = lines((), (), yard(trucks[0]))
    hashes = [truck.hash for truck in trucks]
    with opened(trucks, mix, yard(trucks[0]), store, workers=1, seed=seed) as field:
        field.find(hashes, range(FEWEST))
        print(f"seed {seed}: {field.run_trials} trials, {field.known_trials} known", file=sys.stderr, flush=True)
        found: list[Any] = enough(paired(field.searches, mix, hashes, range(FEWEST))).limit.tolist()
    return found


def judged(pool: Sequence[Any], count: int) -> list[dict[str, Any]]:
    """What is said of each of ``count`` changes: a pair of trucks alike in twelve repeats of the pool.

    :param pool: Limits of every seed, from :func:`limits`.
    """
    import numpy as np

    from sim.decision.effect import FEWEST, LEAST_WORTH, PairedLimits, effect
    from sim.decision.judgement import judge
    from sim.decision.obstacle_mix import lines
    from sim.decision.runner import yard
    from sim.statistics.group_sequential import level
    from sim.trial.truck import load_truck

    mix = lines((), (), yard(load_truck(BUILD)))
    all_ = np.concatenate([np.array(one) for one in pool], axis=2)
    pairs = list(permutations(range(len(all_)), 2))
    rng, answers = np.random.default_rng(1), []
    for number in range(count):
        chosen = rng.choice(all_.shape[2], FEWEST, replace=False)
        two = all_[list(pairs[number % len(pairs)])][:, :, chosen]
        found = judge(effect(PairedLimits(mix, ("one", "other"), two, tuple(range(FEWEST))), "other", level((FEWEST,))),
                      LEAST_WORTH)
        gain = found.effect.gain
        answers.append({"word": found.word, "value": gain.value, "low": gain.low, "high": gain.high,
                        "buy": gain.low > LEAST_WORTH, "same": bool(np.all(two[0] == two[1]))})
    return answers


def told_seeds(answers: Sequence[dict[str, Any]]) -> str:
    """Words and values by seed, and their spread beside the stated one."""
    rows = ["| seed | word | luck only, points | luck and unknowns, points | trials | s |", "|---|---|---|---|---|---|"]
    for seed, a in enumerate(answers, 1):
        rows.append(f"| {seed} | {a['verdict']} | {ranged(a['luck_only'])} | {ranged(a['luck_and_unknowns'])} | "
                    f"{a['trials']} | {a['seconds']:.0f} |")
    values = [a["luck_only"]["value"] for a in answers]
    halves = [(a["luck_only"]["high"] - a["luck_only"]["low"]) / 2.0 for a in answers]
    stated = statistics.mean(halves) / float(student.ppf(0.975, answers[0]["repeats"] - 1))
    words = "; ".join(f"{count} x {word}" for word, count in Counter(a["verdict"] for a in answers).most_common())
    middle = statistics.mean(values)
    held = sum(a["luck_only"]["low"] <= middle <= a["luck_only"]["high"] for a in answers)
    rows += ["", f"Words: {words}. Gain by luck alone: mean {middle:+.2f} points, standard deviation between seeds "
             f"{statistics.stdev(values):.2f}, by the stated intervals {stated:.2f} (half widths {min(halves):.2f} to "
             f"{max(halves):.2f}); {held} of {len(answers)} intervals hold the mean of all."]
    return "\n".join(rows)


def told_nulls(answers: Sequence[dict[str, Any]], repeats: int, differ: int) -> str:
    """Calls on changes that change nothing, beside what is nominal."""
    count = len(answers)
    rows = ["| changes of 0.01 g | called | nominal |", "|---|---|---|"]
    called = (("gain above the least worth having", sum(a["buy"] for a in answers), f"{100.0 * ERROR / 2.0:g} %"),
              ("interval leaves out zero", sum(a["low"] > 0.0 or a["high"] < 0.0 for a in answers),
               f"{100.0 * ERROR:g} %"))
    rows += [f"| {name} | {calls} of {count} | {nominal} |" for name, calls, nominal in called]
    values = [a["value"] for a in answers]
    words = "; ".join(f"{number} x {word}" for word, number in Counter(a["word"] for a in answers).most_common())
    rows += ["", f"Words: {words}. Gains from {min(values):+.2f} to {max(values):+.2f} points, root mean square "
             f"{math.sqrt(statistics.mean(v * v for v in values)):.2f}; half width of the intervals "
             f"{statistics.median((a['high'] - a['low']) / 2.0 for a in answers):.2f} (median). From {repeats} repeats "
             f"of {len(ALIKE) + 1} trucks; in {differ} of them a limit differs."]
    return "\n".join(rows)


def ranged(estimate: dict[str, float] | None) -> str:
    """Value with its interval."""
    return "" if estimate is None else f"{estimate['value']:+.1f} ({estimate['low']:+.1f} to {estimate['high']:+.1f})"


def main() -> None:
    """Ask, and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--nulls", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2, help="commands at once, one core each")
    parser.add_argument("--out", type=Path, default=Path("sceptic"))
    given = parser.parse_args()
    out = given.out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    seeds = range(1, given.seeds + 1)
    with ThreadPoolExecutor(given.jobs) as pool:
        answers = list(pool.map(partial(seeded, out), seeds))
    if given.seeds > 1:
        print(told_seeds(answers), end="\n\n", flush=True)
    if given.nulls and given.seeds:
        with ProcessPoolExecutor(given.jobs, mp_context=get_context("spawn")) as processes:
            found = list(processes.map(partial(limits, out), seeds))
        by_repeat = [cells for one in found for cells in zip(*(zip(*truck, strict=True) for truck in one), strict=True)]
        print(told_nulls(judged(found, given.nulls), len(by_repeat), sum(len(set(cells)) > 1 for cells in by_repeat)))


if __name__ == "__main__":
    main()
