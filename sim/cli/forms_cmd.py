"""``cragbench forms``: sheets to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import say, show_json
from sim.cli.options import Change, Json


def forms(
    folder: Annotated[Path, typer.Argument(help="Folder for the PDF files; made if missing.", show_default=False)],
    sheet: Annotated[Path | None, typer.Option(help="Build sheet to fill in; left out, blank forms.")] = None,
    change: Change = None, paper: Annotated[str, typer.Option(help="a4, letter or both.")] = "both",
    ounces: Annotated[bool, typer.Option("--ounces", help="Ounces and inches beside grams and millimetres.")] = False,
    as_json: Json = False,
) -> None:
    """Write the set-up sheet, the weighing form and the run log as one-page PDFs, safe to print in black and white."""
    from models.configuration import load_configuration
    from models.massprops import truck_properties, wheel_loads
    from sim.chart import PAPERS
    from sim.chart.forms import Units, run_log, setup_sheet, weighing_form
    from sim.chart.sheets_pdf import save_page
    from sim.errors import SimError, make_folder

    papers = list(PAPERS) if paper.lower() == "both" else [paper.lower()]
    if papers[0] not in PAPERS:
        raise SimError("no such paper", field="paper", value=paper, remedy=f"Choose from: {', '.join(PAPERS)}, both")
    truck = None if sheet is None else load_configuration(sheet, change or []).sheet
    whole = None if truck is None else truck_properties(truck)
    loads = None if truck is None or whole is None else wheel_loads(truck, whole)
    units = Units(ounces)
    make_folder(folder)
    wanted = {
        folder / f"{name}-{size}.pdf": (name, size)
        for size in papers for name in ("set-up-sheet", "weighing-form", "run-log")
    }  # fmt: skip
    there = next((file for file in wanted if file.exists()), None)
    if there is not None:
        raise SimError("is there already; nothing was written", file=there, remedy="Name another folder")
    files = []
    for file, (name, size) in wanted.items():
        made = {
            "set-up-sheet": lambda size=size: setup_sheet(size, truck, whole, loads, units),
            "weighing-form": lambda size=size: weighing_form(size, truck, units),
            "run-log": lambda size=size: run_log(size, truck, units),
        }[name]()
        files.append(save_page(made, file))
    if as_json:
        show_json({"files": [str(file) for file in files]})
        return
    for file in files:
        say(f"Wrote {file}")
