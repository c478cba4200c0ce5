"""What somebody who does not believe a verdict would try: other seeds, and changes that change nothing.

    .venv/bin/python scripts/sceptic.py --seeds 10 --nulls 200 --jobs 2 --out sceptic

asks, each time in a process of its own, and prints two tables in Markdown: README's ``shift`` with other luck (same
word? do the values lie as far apart as the stated interval says?), and changes of 0.01 g at some price, as ``worth``
asks them (how many are called worth their money, how many intervals leave out zero?). A truck with a hundredth of a
gram more or less drives no better and no worse, only otherwise: near a limit a trial is chaotic. So for every luck the
truck as it is and seven such trucks are driven, and each of these eight is asked about against each other. Comparisons
of one luck share trucks: calls are counted by luck too. Answers stay in the folder: started again it goes on.
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
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from itertools import combinations
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scipy.stats import t as student

if TYPE_CHECKING:
    from models.change import Change
    from models.spec import Sheet

ROOT = Path(__file__).resolve().parent.parent
BUILD = ROOT / "models" / "scenario_data" / "gundi.toml"
PARTS = ("battery", "body shell", "steering servo", "motor", "front wheel", "battery", "body shell")
"""Of the trucks alike: one part heavier or, from the sixth on, lighter by a hundredth of a gram."""
GRAMS = 0.01
LINEUP = len(PARTS) + 1
PAIRS = LINEUP * (LINEUP - 1) // 2
FIRST_SEED = 1001
"""Of the first luck that changes which change nothing meet."""
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
        shutil.rmtree(work, ignore_errors=True)
    answer: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return answer


def seeded(out: Path, seed: int) -> dict[str, Any]:
    """README's shift with the luck of a seed."""
    words = ["shift", str(BUILD), "battery", "--with", "battery tray", "--to", "115", "--seed", str(seed)]
    return asked(out, f"shift-{seed}", words)


def changed(sheet: Sheet, before: int, after: int) -> Change:
    """From one of the trucks alike to another (0: as it is), at some price."""
    from models.change import Change

    grams = {PARTS[k - 1]: own(sheet, PARTS[k - 1]) for k in (before, after) if k}
    if after:
        key, mass = grams[PARTS[after - 1]]
        grams[PARTS[after - 1]] = key, round(mass + (GRAMS if after <= len(set(PARTS)) else -GRAMS), 6)
    return Change.model_validate({
        "schema": 1, "name": f"{before} to {after}", "price": float(5 + 7 * before + after), "currency": "USD",
        "replace": [{"part": part, key: mass} for part, (key, mass) in grams.items()]})


def own(sheet: Sheet, name: str) -> tuple[str, float]:
    """Key and value of a part's mass on the sheet."""
    part = next(p for p in sheet.parts if p.name == name)
    found = ("mass_g", part.mass_g) if part.mass_g is not None else ("mass_each_g", part.mass_each_g)
    assert found[1] is not None
    return found[0], found[1]


def nulls(out: Path, luck: int) -> list[dict[str, Any]]:
    """What ``worth`` says of every pair of the trucks alike with one luck: from its file, else by driving them."""
    file = out / f"nulls-{luck}.json"
    if not file.exists():
        answers = drive(out / f"nulls-{luck}.sqlite", luck)
        file.with_suffix(".part").write_text(json.dumps(answers), encoding="utf-8")
        file.with_suffix(".part").rename(file)
    found: list[dict[str, Any]] = json.loads(file.read_text(encoding="utf-8"))
    return found


def drive(store: Path, luck: int) -> list[dict[str, Any]]:
    """Drive the trucks alike as ``worth`` does, and ask about each against each.

    :raises SystemExit: What is asked about is not what was driven.
    """
    from models.edit import apply
    from models.sheet import load_sheet
    from sim.decision import cases, worth
    from sim.decision.change_sets import drawer
    from sim.decision.effect import FEWEST, LEAST_WORTH, effect
    from sim.decision.judgement import plain
    from sim.decision.obstacle_mix import lines
    from sim.decision.runner import opened, yard
    from sim.decision.unknowns import priors
    from sim.statistics.group_sequential import level

    sheet, seed = load_sheet(BUILD), FIRST_SEED + luck
    alike = drawer(sheet, [changed(sheet, 0, k) for k in range(1, LINEUP)])
    trucks = [alike.truck(0), *(alike.truck(1 << k) for k in range(LINEUP - 1))]
    mix = lines((), (), yard(trucks[0]))
    joint = cases.joint(priors(sheet, "steady"), "steady", FEWEST, seed)
    answers = []
    with opened(trucks, mix, yard(trucks[0]), store, workers=1, seed=seed, cases=joint.by_number()) as field:
        field.find([truck.hash for truck in trucks], range(FEWEST))
        driven = field.run_trials
        for a, b in combinations(range(LINEUP), 2):
            base = apply(sheet, [changed(sheet, 0, a)]) if a else sheet
            one = drawer(base, [changed(sheet, a, b)])
            if [one.truck(0).hash, one.truck(1).hash] != [trucks[a].hash, trucks[b].hash]:
                raise SystemExit(f"trucks {a} and {b} are not those that were driven")
            said = worth.worth(one, field, mix, FEWEST)
            gain = said.shares[0].alone
            luck_only = effect(said.found, trucks[b].hash, level((FEWEST,)))
            answers.append({"pair": [a, b], "luck": luck, "buy": said.bought() is not None, "value": gain.value,
                            "low": gain.low, "high": gain.high, "word": plain(luck_only.gain, LEAST_WORTH)})
        if field.run_trials != driven:
            raise SystemExit("a pair had to be driven again")
    return [one | {"trials": driven} for one in answers]


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
    """Calls on changes that change nothing, beside what is nominal."""
    count = len(answers)
    lucks = sorted({a["luck"] for a in answers})
    rows = ["| changes of 0.01 g | called | nominal | lucks with a call |", "|---|---|---|---|"]
    called: tuple[tuple[str, Callable[[dict[str, Any]], bool], str], ...] = (
        ("worth their money", lambda a: a["buy"], f"{100.0 * ERROR / 2.0:g} %"),
        ("interval leaves out zero", lambda a: a["low"] > 0.0 or a["high"] < 0.0, f"{100.0 * ERROR:g} %"))
    for name, holds, nominal in called:
        those = [a for a in answers if holds(a)]
        rows.append(f"| {name} | {len(those)} of {count} | {nominal} | {len({a['luck'] for a in those})} of "
                    f"{len(lucks)} |")
    values = [a["value"] for a in answers]
    words = "; ".join(f"{number} x {word}" for word, number in Counter(a["word"] for a in answers).most_common())
    trials = sum(next(a["trials"] for a in answers if a["luck"] == luck) for luck in lucks)
    rows += ["", f"Words of the intervals: {words}. Gains from {min(values):+.2f} to {max(values):+.2f} points, root "
             f"mean square {math.sqrt(statistics.mean(v * v for v in values)):.2f}; half width of the intervals "
             f"{statistics.median((a['high'] - a['low']) / 2.0 for a in answers):.2f} (median); {len(lucks)} lucks, "
             f"{LINEUP} trucks each, {trials} trials."]
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
    lucks = math.ceil(given.nulls / PAIRS)
    with ThreadPoolExecutor(given.jobs) as pool:
        answers = list(pool.map(partial(seeded, out), range(1, given.seeds + 1)))
    if given.seeds > 1:
        print(told_seeds(answers), end="\n\n", flush=True)
    with ProcessPoolExecutor(given.jobs, mp_context=get_context("spawn")) as processes:
        found = [one for some in processes.map(partial(nulls, out), range(lucks)) for one in some]
    if found:
        print(told_nulls(found))


if __name__ == "__main__":
    main()
