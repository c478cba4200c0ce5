"""More repeats of the second opinion than the validation page drives, and the side-hill.

    .venv/bin/python scripts/second_opinion.py side-hill --repeats 6 --step 0.0625 --out opinion
    .venv/bin/python scripts/second_opinion.py climb --repeats 10 --out opinion

Limits of the invented 1/24, battery where it is and moved forward, under MuJoCo's contact and by our law: see
``sim/validation/contact.py``. One limit under MuJoCo takes 30 to 100 s of a core. Every repeat stays in the folder:
started again it goes on.
"""

from __future__ import annotations

import argparse
import json
import statistics
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from time import monotonic

from sim.batch.study import yard_of
from sim.decision.obstacle_mix import Line, lines
from sim.statistics.group_sequential import interval, rounding
from sim.validation import contact
from sim.validation.truck import truck

TOLD = (("other", "MuJoCo's contact"), ("same", "our law, same ground"), ("full", "our law, full ground"))


def driven(line: Line, repeat: int, tolerance: int, higher: float, file: Path) -> contact.FoundLimits:
    """Limits of one repeat: from its file, else by driving them."""
    if not file.exists():
        began = monotonic()
        found = contact.compared(line, repeat, tolerance, higher)
        file.with_suffix(".part").write_text(json.dumps(asdict(found)), encoding="utf-8")
        file.with_suffix(".part").rename(file)
        print(f"repeat {repeat}: {monotonic() - began:.0f} s", flush=True)
    return contact.FoundLimits(**{key: tuple(two) for key, two in json.loads(file.read_text(encoding="utf-8")).items()})


def told(found: Sequence[contact.FoundLimits], line: Line, tolerance: int) -> str:
    """Mean limits and the shift of each model with Student's 95 %."""
    rows = [f"| {line.name}, {line.unit} | as it is | battery forward | shift | one by one |", "|---|---|---|---|---|"]
    for key, words in TOLD:
        pairs = [getattr(one, key) for one in found]
        shift = [after - before for before, after in pairs]
        grain = rounding([line.step * (tolerance if key == "other" else 1)], [1.0])
        mean = interval(shift, 0.05, grain)
        means = " | ".join(f"{statistics.mean(column):.2f}" for column in zip(*pairs, strict=True))
        rows.append(f"| {words} | {means} | {mean.value:+.2f} ({mean.low:+.2f} to {mean.high:+.2f}) | "
                    f"{', '.join(f'{value:+.4g}' for value in shift)} |")
    return "\n".join(rows)


def main() -> None:
    """Drive what is missing, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("line")
    parser.add_argument("--repeats", type=int, default=6)
    parser.add_argument("--step", type=float, help="between levels, in the line's unit; the line's own if left out")
    parser.add_argument("--tolerance", type=int, default=1, help="steps to which MuJoCo's limits are found")
    parser.add_argument("--out", type=Path, default=Path("opinion"))
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    line, = lines((given.line,), (), yard_of(truck(contact.NAME)))
    line = replace(line, step=given.step or line.step)
    found: list[contact.FoundLimits] = []
    for repeat in range(given.repeats):
        higher = [theirs - ours for one in found for theirs, ours in zip(one.other, one.same, strict=True)]
        file = given.out / f"{given.line}-{line.step:g}-{given.tolerance}-{repeat}.json"
        found.append(driven(line, repeat, given.tolerance, statistics.median(higher) if higher else 0.0, file))
    print(told(found, line, given.tolerance))


if __name__ == "__main__":
    main()
