"""``cragbench demonstrate``: is a reliability shown by so many repetitions with so few failures?"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import note, say, show_json, show_table
from sim.cli.options import Json

if TYPE_CHECKING:
    from sim.compare.comparison import CellResult, Comparison
    from sim.statistics.reliability import Demonstration

REPETITIONS = (10, 20, 30, 40, 50, 100)


def demonstrate(
    store: Annotated[
        Path | None, typer.Argument(help="Store (SQLite) that a batch has filled; left out, the rule alone.")
    ] = None,
    reliability: Annotated[float, typer.Option(help="Success rate to be shown, percent.")] = 80.0,
    confidence: Annotated[float, typer.Option(help="Confidence asked for, percent.")] = 80.0,
    as_json: Json = False,
) -> None:
    """Judge repetitions as robot test standards do: a capability is shown when failures stay within what is allowed.

    Fix the number of repetitions in the plan beforehand (10, 20, 30, ...): one that stops when it likes the result
    shows less than it says. For a question between two trucks use compare.
    """
    from sim.statistics.reliability import allowed_failures, repetitions_needed

    wanted, sure = _share("--reliability", reliability), _share("--confidence", confidence)
    rule = [(n, allowed_failures(n, wanted, sure)) for n in REPETITIONS]
    if store is None:
        if as_json:
            show_json({"reliability": wanted, "confidence": sure, "allowed_failures": dict(rule)})
            return
        show_table(
            f"Failures allowed to show {reliability:g} % reliability at {confidence:g} % confidence",
            ["Repetitions", "Failures allowed"],
            [[str(n), "cannot be shown" if allowed is None else str(allowed)] for n, allowed in rule],
        )
        say(f"Without a failure {repetitions_needed(0, wanted, sure)} repetitions do.")
        return
    _judge(store, wanted, sure, as_json)


def _share(option: str, percent: float) -> float:
    from sim.errors import SimError

    if not 0.0 < percent < 100.0:
        raise SimError("must lie between 0 and 100 percent", field=option, value=percent, remedy="80 is usual")
    return percent / 100.0


def _judge(store: Path, reliability: float, confidence: float, as_json: bool) -> None:
    from sim.compare.comparison import compare
    from sim.statistics.reliability import demonstrate as judged
    from sim.store.store import Store

    with Store(store) as opened:
        comparison = compare(opened)
    cells = [cell for cell in comparison.cells if cell.obstacle not in comparison.searched and cell.rate.trials]
    found = [
        (cell, judged(cell.rate.trials, cell.rate.trials - cell.rate.successes, reliability, confidence))
        for cell in cells
    ]
    if as_json:
        show_json({"cells": [_data(cell, shown) for cell, shown in found], "stopped_early": comparison.stopped_early})
        return
    _show(found, comparison)


def _data(cell: CellResult, found: Demonstration) -> dict[str, Any]:
    from terrain import file_name

    obstacle = file_name.without_folder(cell.obstacle)
    where = {"configuration": cell.name, "obstacle": obstacle, "level": cell.level, "unit": cell.unit}
    return where | {"driver": cell.driver, "invalid": cell.invalid, "shown": found.shown} | asdict(found)


def _show(found: list[tuple[CellResult, Demonstration]], comparison: Comparison) -> None:
    from sim.compare.comparison import at, places
    from sim.compare.sentences import label
    from sim.statistics.reliability import repetitions_needed

    by_cell = {id(cell): shown for cell, shown in found}
    for where in places([cell for cell, _ in found]):
        rows = []
        for cell in at([cell for cell, _ in found], where):
            shown = by_cell[id(cell)]
            need = repetitions_needed(shown.failures, shown.reliability, shown.confidence)
            few = f"{shown.failures} failure{'' if shown.failures == 1 else 's'}"
            rows.append([
                cell.name,
                str(shown.repetitions),
                str(shown.failures),
                "-" if shown.allowed is None else str(shown.allowed),
                f"{100 * shown.reached:.1f} %",
                f"{100 * shown.lower_bound:.1f} %",
                "shown" if shown.shown else f"not shown ({few} in {need} would)",
            ])
        first = at([cell for cell, _ in found], where)[0]
        show_table(f"{label(first)}, {first.driver} driver",
                   ["configuration", "repetitions", "failures", "allowed", "confidence", "reliability", "verdict"],
                   rows)
    if not found:
        say("No repetitions at given levels in this store.")
        return
    asked = found[0][1]
    say(
        f"shown: a success rate of {100 * asked.reliability:g} % or more at {100 * asked.confidence:g} % confidence; "
        "reliability: lower bound at that confidence (one-sided, Clopper-Pearson)"
    )
    if comparison.stopped_early:
        note("A plan of this store stops when it is decided: the confidence holds for repetitions fixed beforehand.")
    if comparison.invalid:
        note(f"{comparison.invalid} invalid trials are left out.")
