"""``cragbench terrain import``: one's own rocks as ground."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from sim.cli.console import console, say, show_json
from sim.cli.ground_options import Json, Scale, SizedFor, Tyre, Wheelbase, file_stem, keep_source, sized_for


@contextmanager
def _bar(words: str, *, quiet: bool) -> Iterator[Callable[[float], None]]:
    """A progress bar on a terminal, nothing elsewhere."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    screen = console(to_stderr=True)
    if quiet or not screen.is_terminal:
        yield lambda _: None
        return
    with Progress(TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn(), console=screen) as bar:
        number = bar.add_task(words, total=1.0)
        yield lambda share: bar.update(number, completed=share)


def import_file(
    file: Annotated[Path, typer.Argument(help="Mesh, grey height image or height grid.", show_default=False)],
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Ground file to write (.ground.npz).")] = None,
    unit: Annotated[str | None, typer.Option(help="Of the file: mm, cm, m, in, ft; left out, mm (GLB: m).")] = None,
    shrink: Annotated[float, typer.Option(help="Divide all lengths by this: 24 for a full-size rock.")] = 1.0,
    up: Annotated[str | None, typer.Option(help="Axis up: x, y, z, -x, -y, -z; left out, z (GLB: y).")] = None,
    turn_deg: Annotated[float, typer.Option(help="Turn about the plumb line, anticlockwise.")] = 0.0,
    crop_mm: Annotated[str | None, typer.Option(help="x from,x to,y from,y to after scaling and turning.")] = None,
    spacing_mm: Annotated[float | None, typer.Option(help="Distance of the nodes.")] = None,
    pixel_mm: Annotated[float | None, typer.Option(help="Size of an image's pixel or a bare grid's cell.")] = None,
    relief_mm: Annotated[str | None, typer.Option(help="Heights of an image's black,white.")] = None,
    thin_mm: Annotated[float, typer.Option(help="Merge mesh points closer than this.")] = 0.0,
    lane: Annotated[str | None, typer.Option(help="x,y;x,y;... in mm; else straight through the middle.")] = None,
    name: Annotated[str | None, typer.Option(help="What to call it.")] = None, truck: SizedFor = None,
    wheelbase: Wheelbase = None, tyre: Tyre = None, scale: Scale = None, as_json: Json = False,
) -> None:
    """Make ground of a scanned rock, a height image or a grid; say what was lost, and draw it."""
    from sim.chart.ground_import import bring_in
    from terrain.ground_file import SUFFIX
    from terrain.intake import Intake, lane_of, numbers_of

    yard, view = sized_for(truck, wheelbase, tyre, scale)
    intake = Intake(
        unit=unit,
        shrink=shrink,
        up=up,
        turn_deg=turn_deg,
        crop_mm=numbers_of("--crop-mm", crop_mm, 4),  # type: ignore[arg-type]
        spacing=None if spacing_mm is None else 1e-3 * spacing_mm,
        pixel_mm=pixel_mm,
        relief_mm=numbers_of("--relief-mm", relief_mm, 2),  # type: ignore[arg-type]
        thin_mm=thin_mm,
    )
    target = out if out is not None else Path(f"{file_stem(file.stem)}{SUFFIX}")
    if target.suffix.lower() != ".npz":
        target = target.with_name(target.name + SUFFIX)
    keep_source(file, target, target.with_suffix(".png"))
    with _bar(f"reading {file.name}", quiet=as_json) as progress:
        made = bring_in(file, target, intake, name=name or file.stem, lane=lane_of("--lane", lane), yard=yard,
                        view=view, progress=progress)
        progress(1.0)
    if as_json:
        show_json(made.report.as_dict() | {"file": str(target), "bytes": made.size, "picture": str(made.picture)})
        return
    for number, text in enumerate(made.sentences):
        say(f"  {text}" if number else text)
    say(f"Wrote {target} ({made.size / 1e6:.2f} MB) and {made.picture}")
    say(f"Drive it with: cragbench drive BUILD {target}")
