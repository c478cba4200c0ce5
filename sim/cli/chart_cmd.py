"""``cragbench chart``: one chart alone, for a post or a video."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import console, say, show_json
from sim.cli.options import Json


def chart(
    kind: Annotated[
        str,
        typer.Argument(
            help="success, margins, difficulty, contribution, limits, margin-time, failures, value (of a store); "
            "truck, tip-angles (of a store or a build sheet); all.",
            show_default=False,
        ),
    ],
    source: Annotated[Path, typer.Argument(help="Store (SQLite) or build sheet (TOML).", show_default=False)],
    change: Annotated[
        list[Path] | None, typer.Option(help="Change file to a build sheet; may be given several times.")
    ] = None,
    baseline: Annotated[str | None, typer.Option(help="Configuration of a store to compare with.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder; left out, beside the source.")] = None,
    formats: Annotated[str, typer.Option(help="png, svg, pdf, by commas.")] = "png,svg,pdf",
    as_json: Json = False,
) -> None:
    """Draw charts alone, each in every format asked for."""
    from sim.report.charts import draw_of_sheet, draw_of_store

    with console(to_stderr=True).status("drawing"):
        wanted = [name.strip().lower() for name in formats.split(",")]
        folder = out or source.absolute().parent
        if source.suffix.lower() == ".toml":
            files = draw_of_sheet(kind, source, change or [], folder, wanted)
        else:
            files = draw_of_store(kind, source, baseline, folder, wanted)
    if as_json:
        show_json({"files": [str(file) for file in files]})
        return
    for file in files:
        say(f"wrote {file}")
