"""What somebody who does not believe a verdict would try: other seeds, and changes that change nothing.

    .venv/bin/python scripts/sceptic.py --seeds 10 --nulls 200 --jobs 16 --out sceptic

asks by the commands themselves, each a process of its own with one worker, and prints two tables in Markdown: README's
``shift`` with other luck (same word? do the values lie as far apart as the stated interval says?), and changes of
0.01 g at some price, each with luck of its own, asked by ``worth`` (how many are called worth their money, how many
intervals leave out zero?). Answers stay in the folder: started again it goes on.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import statistics
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from scipy.stats import binom
from scipy.stats import t as student

ROOT = Path(__file__).resolve().parent.parent
BUILD = ROOT / "models" / "scenario_data" / "gundi.toml"
PARTS = ("battery", "body shell", "steering servo", "motor", "front wheel")
GRAMS = 0.01
FIRST_SEED = 1001
"""Of the luck of the first change that changes nothing."""
ERROR = 0.05


def asked(out: Path, name: str, words: Sequence[str], *, drives: bool = True) -> dict[str, Any]:
    """Answer of a command as data: from its file, else by running it.

    :raises SystemExit: The command failed.
    """
    file = out / f"{name}.json"
    if not file.exists():
        work = out / name
        own = ["--out", str(work), "--workers", "1", "--formats", ""] if drives else []
        run = subprocess.run([sys.executable, "-m", "sim.cli.main", *words, *own, "--json"], cwd=ROOT,
                             capture_output=True, text=True, check=False)
        if run.returncode:
            raise SystemExit(f"{name}: {run.stderr.strip()}")
        file.with_suffix(".part").write_text(run.stdout, encoding="utf-8")
        file.with_suffix(".part").rename(file)
        shutil.rmtree(work, ignore_errors=True)
    answer: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return answer


def seeded(out: Path, seed: int) -> dict[str, Any]:
    """README's shift with the luck of a seed."""
    words = ["shift", str(BUILD), "battery", "--with", "battery tray", "--to", "115", "--seed", str(seed)]
    return asked(out, f"shift-{seed}", words)


def null(out: Path, number: int) -> dict[str, Any]:
    """A part that weighs a hundredth of a gram more or less, at some price, with luck of its own."""
    from models.sheet import load_sheet

    part = next(p for p in load_sheet(BUILD).parts if p.name == PARTS[number % len(PARTS)])
    mass = part.mass_g if part.mass_g is not None else part.mass_each_g
    assert mass is not None
    sign = 1 if number // len(PARTS) % 2 else -1
    file = out / f"null-{number}.toml"
    if not file.exists():
        words = ["change", str(BUILD), part.name, "--mass", f"{mass + sign * GRAMS:.4f}", "--price",
                 str(5 + number % 40), "--name", f"null {number}", "--out", str(file)]
        asked(out, f"change-{number}", words, drives=False)
    return asked(out, f"null-{number}", ["worth", str(BUILD), str(file), "--seed", str(FIRST_SEED + number)])


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


def told_nulls(answers: Sequence[dict[str, Any]]) -> str:
    """Calls on changes that change nothing, beside what chance allows."""
    count = len(answers)
    gains = [a["changes"][0]["alone"] for a in answers]
    bought = sum(a["buy"] is not None for a in answers)
    shown = sum(g["low"] > 0.0 or g["high"] < 0.0 for g in gains)
    rows = ["| changes of 0.01 g | called | nominal | chance of more by luck |", "|---|---|---|---|"]
    called = ("worth their money", bought, ERROR / 2.0), ("interval leaves out zero", shown, ERROR)
    for name, calls, nominal in called:
        rows.append(f"| {name} | {calls} of {count} | {100.0 * nominal:g} % | "
                    f"{float(binom.sf(calls - 1, count, nominal)):.2g} |")
    values = [g["value"] for g in gains]
    rows += ["", f"Gains from {min(values):+.2f} to {max(values):+.2f} points, root mean square "
             f"{math.sqrt(statistics.mean(v * v for v in values)):.2f}; half width of the intervals "
             f"{statistics.median((g['high'] - g['low']) / 2.0 for g in gains):.2f} (median)."]
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
    asks: list[Callable[[], dict[str, Any]]] = [partial(seeded, out, seed) for seed in range(1, given.seeds + 1)]
    asks += [partial(null, out, number) for number in range(given.nulls)]
    with ThreadPoolExecutor(given.jobs) as pool:
        answers = list(pool.map(lambda ask: ask(), asks))
    if given.seeds > 1:
        print(told_seeds(answers[: given.seeds]), end="\n\n")
    if given.nulls:
        print(told_nulls(answers[given.seeds :]))


if __name__ == "__main__":
    main()
