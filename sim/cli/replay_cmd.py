"""``cragbench replay``: a recorded trial as a film."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import console, say, show_json
from sim.cli.options import Json


def replay(
    store: Annotated[Path, typer.Argument(help="Store (SQLite) with recorded trials.", show_default=False)],
    truck: Annotated[str | None, typer.Option(help="Configuration to show; left out, the most telling one.")] = None,
    against: Annotated[str | None, typer.Option(help="Configuration to show as a ghost beside it.")] = None,
    obstacle: Annotated[str | None, typer.Option(help="Obstacle with its level, as ledge:30.")] = None,
    repeat: Annotated[int | None, typer.Option(min=0, help="Which repeat.")] = None,
    shape: Annotated[str, typer.Option(help="wide (16:9) or square.")] = "wide",
    last: Annotated[float | None, typer.Option(min=0.5, help="Only the last so many seconds.")] = None,
    formats: Annotated[str, typer.Option(help="mp4, gif, by commas.")] = "mp4,gif",
    out: Annotated[Path | None, typer.Option(help="File without its ending; left out, beside the store.")] = None,
    as_json: Json = False,
) -> None:
    """Film a recorded trial: side view, 3-D view and the tip-over margin underneath."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from sim.chart.film import FRAMES_PER_SECOND, film
    from sim.compare.comparison import compare
    from sim.compare.sentences import about
    from sim.errors import SimError
    from sim.replay.film_file import write_film
    from sim.replay.picks import clips
    from sim.replay.wanted import Wanted, find
    from sim.report.verdict import sentence
    from sim.store.store import Store

    with Store(store) as opened:
        comparison = compare(opened)
        found = clips(opened, find(opened, comparison, Wanted(truck, against, obstacle, repeat)), None,
                      comparison.baseline.hash)
    if not found:
        raise SimError("holds no build sheet of that truck", file=store, field="truck",
                       remedy="Run the batch again with this version, which keeps the sheets")
    shown = [clip.actor.name for _, clip in found if clip.actor.name != comparison.baseline.name]
    said = sentence(about(comparison, shown[0])) if len(found) > 1 and shown else ""
    made = film([clip for _, clip in found], [pick.series for pick, _ in found], shape, last, said)
    target = out or store.with_name(f"{store.stem}-replay")
    files = [target.with_name(f"{target.name}.{kind.strip().lower()}") for kind in formats.split(",")]
    count = len(made.times())
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed}/{task.total} frames"),
               TimeRemainingColumn())
    with Progress(*columns, console=console(to_stderr=True), transient=True) as bar:
        number = bar.add_task("filming", total=count)
        write_film(made.frames(), count, files, FRAMES_PER_SECOND, lambda done, _: bar.update(number, completed=done))
    if as_json:
        trucks = [clip.actor.name for _, clip in found]
        show_json({"files": [str(file) for file in files], "obstacle": found[0][1].place, "trucks": trucks})
        return
    names = " against ".join(clip.actor.name for _, clip in found)
    say(f"{names} on {found[0][1].label}: {', '.join(f'{c.outcome}, {c.reason}' for _, c in found)}")
    for file in files:
        say(f"wrote {file} ({file.stat().st_size / 1e6:.1f} MB)")
