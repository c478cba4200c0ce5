"""``cragbench export``: the truck for other tools."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import say, show_json
from sim.cli.options import Build, Change, Json


def export(
    build: Build, urdf: Annotated[Path, typer.Option(help="Folder for the URDF and its meshes; made if missing.")],
    change: Change = None, as_json: Json = False,
) -> None:
    """Write the truck as URDF with meshes, in full precision."""
    from models.urdf import write_urdf
    from sim.trial.truck import load_truck

    truck = load_truck(build, change or [])
    file = write_urdf(truck.configuration.sheet, urdf, truck.model)
    if as_json:
        show_json({"urdf": str(file), "name": truck.name, "hash": truck.hash})
    else:
        say(f"Wrote {file} and its meshes.")
