"""Options that the decision commands share, and how they run trials."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli.console import note, say

if TYPE_CHECKING:
    from models.change import Change
    from models.spec import Sheet
    from sim.decision.caution import Caution
    from sim.decision.obstacle_mix import Line
    from sim.decision.runner import Field
    from sim.trial.truck import Truck

INTERRUPTED = 130

Build = Annotated[Path, typer.Argument(help="Build sheet (TOML).", show_default=False)]
Changes = Annotated[list[Path], typer.Argument(help="Change files (TOML).", show_default=False)]
On = Annotated[list[Path] | None, typer.Option("--change", help="Change made before; may be given several times.")]
LineOption = Annotated[
    list[str] | None,
    typer.Option("--line", help="Obstacle whose limit counts, with its weight: climb=2. May be given several times; "
                                "left out: climb, ledge-on-slope, side-hill, descent."),
]
CourseOption = Annotated[
    list[str] | None,
    typer.Option("--course", help="Obstacle at its level, ledge:30; several make a course to be cleared instead of "
                                  "limits to be found."),
]
Driver = Annotated[str, typer.Option(help="Named driver.")]
Seed = Annotated[int, typer.Option(min=0, help="Of all luck.")]
Least = Annotated[
    float, typer.Option(min=0.0, max=100.0, help="Smallest gain worth having: percent of the limits, or points.")
]
Workers = Annotated[int | None, typer.Option(min=1, max=512, help="Processes; left out, one per core.")]
Out = Annotated[Path | None, typer.Option(help="Folder for the store and pictures; left out, named after the build.")]


def checked_formats(names: str) -> str:
    """Refuse a picture format that there is not before anything is driven.

    :raises SimError: Of the first such name.
    """
    from sim.chart import FORMATS
    from sim.errors import SimError

    wanted = [name.strip().lower() for name in names.split(",") if name.strip()]
    for name in wanted:
        if name not in FORMATS:
            raise SimError("no such picture format", field="formats", value=name,
                           remedy=f"Choose from: {', '.join(FORMATS)}")
    return ",".join(wanted)


Formats = Annotated[str, typer.Option("--formats", callback=checked_formats,
                                      help="Of the pictures: png, svg, pdf, by commas.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def read(build: Path, changes: Sequence[Path] | None) -> tuple[Sheet, list[Change]]:
    """Read a sheet and changes and check that they fit each other."""
    from models.change import load_change
    from models.configuration import load_configuration
    from models.sheet import load_sheet

    load_configuration(build, changes or [])
    return load_sheet(build), [load_change(change) for change in changes or []]


def folder_of(out: Path | None, build: Path) -> Path:
    """Where a decision keeps its trials and pictures."""
    return out or Path(f"{build.stem}-decisions")


@contextmanager
def trials(
    trucks: Sequence[Truck], lines: tuple[Line, ...], folder: Path, *, driver: str, seed: int, workers: int | None,
    quiet: bool,
) -> Iterator[Field]:
    """Workers, store and a progress line; Ctrl-C ends with what is done kept."""
    from sim.cli.batch_cmd import available_cores
    from sim.cli.progress import watcher
    from sim.decision.runner import Stopped, opened, yard
    from sim.trial import driver as drivers

    drivers.named(driver)
    store = folder / "trials.sqlite"
    try:
        with watcher(None, quiet=quiet) as watch, opened(
            trucks, lines, yard(trucks[0]), store, workers=workers or available_cores(), driver=driver, seed=seed,
            watch=watch,
        ) as field:
            yield field
    except Stopped:
        note("")
        say(f"Stopped; what was run is kept in {store}. Go on with:")
        say(f"  {shlex.join(['cragbench', *sys.argv[1:]])}")
        raise typer.Exit(INTERRUPTED) from None


def effort(field: Field, lines: Sequence[Line]) -> str:
    """What the trials were, in a line."""
    known = f", {field.known_trials} of them known before" if field.known_trials else ""
    mix = ", ".join(f"{line.name} ×{line.weight:g}" for line in lines)
    return f"{field.run_trials + field.known_trials} trials{known}; mix: {mix}"


def warn(told: Sequence[tuple[str, Sequence[Caution]]]) -> None:
    """Print what to mind, each thing once."""
    from sim.decision.caution import briefly

    for text in briefly(told):
        note(f"WARNING: {text}.")


def warn_of_void(field: Field) -> None:
    """Shout about trials in which the solver failed."""
    if field.searches.void:
        note(f"WARNING: {field.searches.void} searches met an invalid trial (the solver failed); their repeats are "
             "left out.")
