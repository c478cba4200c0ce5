"""``cragbench store``: what is in a store, and copies of it for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json, StoreFile

app = typer.Typer(
    no_args_is_help=True, add_completion=False,
    help="A store is one SQLite file with every trial of a batch and real tries. Look into it, copy its trials out.",
)


@app.command()
def show(store: StoreFile, as_json: Json = False) -> None:
    """Say what is in a store: trucks, trials, plans, versions."""
    from sim.store.store import Store

    with Store(store) as opened:
        configurations = opened.configurations()
        cells, plans, latest = opened.cells(), opened.plans(), opened.latest()
        seconds, traced = opened.seconds_per_trial(), len(opened.traced())
    per_truck = {h: sum(n for cell, n in cells.items() if cell.config == h) for h in configurations}
    if as_json:
        show_json({
            "trials": sum(cells.values()),
            "traced": traced,
            "seconds_per_trial": seconds,
            "versions": None if latest is None else {"code": latest.code, "engine": latest.engine},
            "plans": [{"hash": h, "name": name} for h, name, _ in plans],
            "configurations": [
                {"hash": h, "name": c.name, "trials": per_truck[h], **c.facts} for h, c in configurations.items()
            ],
        })
        return
    rows = [(c.name, h, f"{per_truck[h]}") for h, c in configurations.items()]
    show_table(f"{store}: {sum(cells.values())} trials, {traced} with their motion", ("truck", "hash", "trials"), rows)
    if seconds is not None and latest is not None:
        say(f"{seconds:.2f} s of computing a trial; last stored with physics {latest.code}, {latest.engine}")
    for _, name, _ in plans:
        say(f"plan: {name}")


@app.command()
def csv(store: StoreFile, out: Annotated[Path, typer.Option(help="File to write.")]) -> None:
    """Copy every trial into a CSV file, one line each."""
    from sim.compare.export import write_trials_csv
    from sim.store.store import Store

    with Store(store) as opened:
        say(f"wrote {write_trials_csv(opened, out)} trials to {out}")


@app.command()
def parquet(store: StoreFile, out: Annotated[Path, typer.Option(help="File to write.")]) -> None:
    """Copy every trial into a Parquet file (needs the pyarrow library)."""
    from sim.compare.export import write_trials_parquet
    from sim.store.store import Store

    with Store(store) as opened:
        say(f"wrote {write_trials_parquet(opened, out)} trials to {out}")


@app.command()
def check(
    store: StoreFile,
    rescue: Annotated[Path | None, typer.Option(help="New store to copy everything into that is as written.")] = None,
    as_json: Json = False,
) -> None:
    """Check every trial and recorded motion against its check value, and name what is damaged.

    Damaged trials are in no result. With --rescue all others are copied into a new store; a batch on that store
    drives the damaged ones again. Exit code 1 if anything is damaged.
    """
    from sim.store.rescue import inspect

    found = inspect(store, rescue)
    if as_json:
        show_json({
            "trials": found.trials, "unchecked": found.unchecked, "undescribed": list(found.undescribed),
            "damaged": [vars(one) for one in found.damaged], "damaged_traces": list(found.traces),
            "damaged_descriptions": list(found.descriptions),
            "unreadable": found.unreadable, "rescued": found.rescued,
        })  # fmt: skip
    else:
        say(f"{store}: {found.trials} trials are as they were written, {len(found.damaged)} are damaged")
        for one in found.damaged:
            say(f"  damaged: {one.trial} ({one.key}): {one.why}")
        for name in found.descriptions:
            say(f"  damaged: the description of {name}; a batch of its plan writes it anew")
        for key in found.traces:
            say(f"  damaged: the recorded motion of {key}")
        if found.unchecked:
            say(f"{found.unchecked} of them are from before check values were kept and could not be checked")
        if found.undescribed:
            say(f"trucks that this store does not describe: {', '.join(found.undescribed)} (from another store?)")
        if found.unreadable:
            say(f"part of the file cannot be read at all: {found.unreadable}")
        if rescue is not None:
            say(f"copied {found.rescued} trials into {rescue}; drive the others again with: "
                f"cragbench batch PLAN --store {rescue}")
        elif found.bad:
            say(f"Copy what is good: cragbench store check {store} --rescue NEW.sqlite")
    if found.bad:
        raise typer.Exit(1)
