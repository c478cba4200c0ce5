"""``cragbench report``: a store as one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import console, say, show_json
from sim.cli.options import Json, StoreFile


def report(
    store: StoreFile,
    out: Annotated[Path | None, typer.Option(help="HTML file; left out, beside the store.")] = None,
    baseline: Annotated[
        str | None, typer.Option(help="Configuration to compare with; left out, the one with most trials.")
    ] = None,
    tilt: Annotated[int, typer.Option(
        min=0, help="Directions in which the trucks are tipped on a simulated table, a multiple of 4; some 2 s a truck "
                    "for 16, kept for the next time. 0: none.",
    )] = 0,
    as_json: Json = False,
) -> None:
    """Write a store's results as one page that opens from disk, without a network: charts, replays, numbers, CSV."""
    from sim.report.page import write_report

    page = out or store.with_suffix(".html")
    with console(to_stderr=True).status("reading the store") as status:
        written = write_report(store, page, baseline=baseline, tilt=tilt,
                               watch=lambda text: status.update(f"report: {text}"))
    if as_json:
        show_json({"page": str(written[0]), "files": [str(file) for file in written[1:]]})
        return
    say(f"wrote {written[0]} ({written[0].stat().st_size / 1e6:.1f} MB); open it in a browser")
    if len(written) > 1:
        say(f"every number as CSV: {written[1].parent}")
