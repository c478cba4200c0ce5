"""Arguments and options that more than one command has."""

from pathlib import Path
from typing import Annotated

import typer

Build = Annotated[Path, typer.Argument(help="Build sheet (TOML).", show_default=False)]
Change = Annotated[list[Path] | None, typer.Option(help="Change file; may be given several times.")]
PlanFile = Annotated[Path, typer.Argument(help="Plan file (TOML).", show_default=False)]
ReadingsFile = Annotated[Path, typer.Argument(help="Readings file (TOML).", show_default=False)]
StoreFile = Annotated[Path, typer.Argument(help="Store (SQLite) that a batch has filled.", show_default=False)]
Driver = Annotated[str, typer.Option(help="Who drives.")]
Workers = Annotated[int | None, typer.Option(min=1, max=512, help="Processes; left out, one per core.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
