"""``cragbench log``: attempts on real lines, into the store and back out."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json

if TYPE_CHECKING:
    from sim.reality.attempt_log import Log
    from sim.reality.observed import Tried
    from sim.trial.truck import Truck

app = typer.Typer(
    no_args_is_help=True, add_completion=False,
    help="A log is a file of real tries: line, truck, outcome, date. Start one, import it, see what it says.",
)


@app.command()
def new(file: Annotated[Path, typer.Argument(help="Log file to write (.toml or .csv).", show_default=False)]) -> None:
    """Write a log file to start from; a table if its name ends in .csv."""
    from models.errors import write_new
    from sim.reality.attempt_file import STARTER, STARTER_DATE, STARTER_ROWS

    text = STARTER_ROWS if file.suffix.lower() == ".csv" else STARTER
    write_new(file, text.replace(STARTER_DATE, datetime.date.today().isoformat()), "a log is never overwritten")
    say(f"Wrote {file}. Fill it in with any text editor, on a phone too, then: cragbench log add STORE {file}")


@app.command()
def add(
    store: Annotated[Path, typer.Argument(help="Store file; made if missing.", show_default=False)],
    logs: Annotated[list[Path], typer.Argument(help="Log files (TOML or CSV).", show_default=False)],
    beside: Annotated[Path | None, typer.Option(help="TOML file with the lines and configurations of a CSV.")] = None,
    as_json: Json = False,
) -> None:
    """Import attempts. All or nothing of each file; a file read twice adds nothing."""
    from sim.reality.attempt_log import add_attempts, read_log
    from sim.store.store import Store

    told = []
    known = _known(store)
    ready = []
    # Every file is read before anything is written.
    for file in logs:
        log = read_log(file, beside, list(known))
        trucks = _trucks(log, (beside or file).parent)
        ready.append((log, trucks, {**known, **{name: truck.hash for name, truck in trucks.items()}}))
    with Store(store, write=True) as kept:
        for log, trucks, hashes in ready:
            kept.add_configurations(_remembered(trucks))
            new_ones = add_attempts(kept, log.attempts, hashes)
            told.append({"file": str(log.file), "attempts": len(log.attempts), "new": new_ones})
    if as_json:
        show_json(told)
        return
    for entry in told:
        say(f"{entry['file']}: {entry['attempts']} tries, {entry['new']} new in {store}")
    say(f"Next: cragbench log show {store}, then cragbench reality {store}")


def _known(store: Path) -> dict[str, str]:
    from sim.store.store import Store

    if not store.exists():
        return {}
    with Store(store, write=True) as kept:
        return {found.name: found.hash for found in kept.configurations().values()}


def _trucks(log: Log, folder: Path) -> dict[str, Truck]:
    from sim.trial.truck import load_truck

    return {
        entry.name: load_truck(folder / entry.build, [folder / change for change in entry.changes], name=entry.name)
        for entry in log.trucks
    }


def _remembered(trucks: dict[str, Truck]) -> list[Any]:
    from sim.store.store import StoredTruck

    return [StoredTruck(truck.hash, truck.name, truck.facts) for truck in trucks.values()]


@app.command()
def show(
    store: Annotated[Path, typer.Argument(help="Store file.", show_default=False)],
    driver: Annotated[str | None, typer.Option(help="Only this person's tries.")] = None, as_json: Json = False,
) -> None:
    """Success rate on every line with its interval, and how little few tries say."""
    from sim.errors import SimError
    from sim.reality.attempt_log import logged
    from sim.reality.observed import tried
    from sim.store.store import Store

    with Store(store) as kept:
        attempts = logged(kept)
    if not attempts:
        raise SimError("holds no attempts", file=store, remedy="Import a log: cragbench log add STORE LOG")
    people = sorted({a.attempt.driver for a in attempts}) if driver is None else [driver]
    shown = [(person, cell) for person in people for cell in tried(attempts, person)]
    failures = {cell_key(a.attempt.line, a.config, a.attempt.driver): _reasons(attempts, a) for a in attempts}
    if as_json:
        show_json([_as_data(person, cell) for person, cell in shown])
        return
    _table(shown, failures)


def cell_key(line: str, config: str, driver: str) -> tuple[str, str, str]:
    """What tries are counted by."""
    return line, config, driver


def _reasons(attempts: Sequence[Any], one: Any) -> str:
    from collections import Counter

    same = [
        a.attempt for a in attempts
        if (a.attempt.line, a.config, a.attempt.driver) == (one.attempt.line, one.config, one.attempt.driver)
    ]  # fmt: skip
    count = Counter(a.reason or a.outcome for a in same if a.counts and not a.cleared)
    return ", ".join(f"{n} {reason}" for reason, n in count.most_common(3))


def _as_data(person: str, cell: Tried) -> dict[str, Any]:
    from sim.reality.observed import how_little

    rate = cell.rate
    return {
        "line": cell.line, "obstacle": cell.where, "surface": cell.surface, "configuration": cell.configuration,
        "driver": person, "successes": cell.successes, "tries": cell.tries, "low": rate.low, "high": rate.high,
        "simulated": cell.simulated, "words": how_little(rate),
    }  # fmt: skip


def _table(shown: Sequence[tuple[str, Tried]], failures: dict[tuple[str, str, str], str]) -> None:
    from sim.reality.observed import how_little, tries_for

    if any(cell.simulated for _, cell in shown):
        say("Simulated attempts of an invented scenario.")
    rows = [
        (cell.line, cell.where, cell.configuration, f"{cell.successes}/{cell.tries}",
         f"{100 * cell.rate.low:.0f} to {100 * cell.rate.high:.0f} %",
         failures.get(cell_key(cell.line, cell.config, person), ""))
        for person, cell in shown
    ]  # fmt: skip
    show_table("Tries", ["line", "obstacle", "configuration", "cleared", "95 %", "why not"], rows, left=3)
    few = [cell for _, cell in shown if cell.rate.high - cell.rate.low > 0.4]
    if few:
        worst = min(few, key=lambda cell: cell.tries)
        say(f"For example {worst.line}: {how_little(worst.rate)}. To know one rate to plus or minus 20 points takes "
            f"about {tries_for(0.2)} tries, to 10 points about {tries_for(0.1)}.")
