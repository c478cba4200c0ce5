"""A plan written for a question that was asked in one line, so that it can be read, changed and run again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from sim.decision.levels import Chosen


def plan_text(
    title: str, build: Path, changes: Sequence[tuple[str, Path]], chosen: Sequence[Chosen], *, seed: int, repeats: int,
    base: str, driver: str = "steady",
) -> str:  # fmt: skip
    """Write the plan: the truck as it is against it with each change, at the levels chosen.

    :param changes: name of each configuration and its change file; paths as the plan's folder sees them.
    :raises ValueError: no obstacle has a level.
    """
    driven = [one for one in chosen if one.levels]
    if not driven:
        raise ValueError("no obstacle has a level to drive")
    lines = [
        "# Written by `cragbench verdict`: levels were found by a short search. Change what you like and run it with",
        "# `cragbench batch`.", "schema = 1", f"name = {json.dumps(title, ensure_ascii=False)}", f"seed = {seed}",
        f"baseline = {json.dumps(base, ensure_ascii=False)}", f"drivers = [{json.dumps(driver)}]",
        f"repeats = {repeats}", "traces = 2", "", *_configuration(base, build, None),
    ]  # fmt: skip
    for name, file in changes:
        lines += _configuration(name, build, file)
    for one in driven:
        family, _, rest = one.line.obstacle.partition(",")
        lines += ["[[obstacle]]", f"family = {json.dumps(family)}          # {one.line.unit}; limits about "
                  f"{one.mean:.3g}, scatter {one.spread:.2g}", f"levels = {list(one.levels)}"]
        if rest:
            lines.append(f"parameters = {{ {rest.replace('=', ' = ').replace(',', ', ')} }}")
        lines.append("")
    return "\n".join(lines)


def _configuration(name: str, build: Path, change: Path | None) -> list[str]:
    lines = ["[[configuration]]", f"name = {json.dumps(name, ensure_ascii=False)}",
             f"build = {json.dumps(str(build), ensure_ascii=False)}"]
    if change is not None:
        lines.append(f"changes = [{json.dumps(str(change), ensure_ascii=False)}]")
    return [*lines, ""]
