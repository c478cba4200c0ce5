"""``cragbench terrain import``: one's own rocks as ground."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from sim.cli.console import console, say, show_json
from sim.cli.ground_options import Build, Json, Scale, Tyre, Wheelbase, file_stem, keep_source, sized_for, whole


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


def _numbers(option: str, text: str | None, count: int) -> tuple[float, ...] | None:
    from terrain.errors import TerrainError

    if text is None:
        return None
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if len(values) != count:
        raise TerrainError(f"needs {count} numbers with commas", field=option, value=text)
    return values


def _lane(text: str | None) -> tuple[tuple[float, float], ...]:
    if text is None:
        return ()
    points = [_numbers("--lane", part, 2) for part in text.split(";")]
    return tuple((point[0], point[1]) for point in points if point is not None)


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
    name: Annotated[str | None, typer.Option(help="What to call it.")] = None,
    truck: Build = None,
    wheelbase: Wheelbase = None,
    tyre: Tyre = None,
    scale: Scale = None,
    as_json: Json = False,
) -> None:
    """Make ground of a scanned rock, a height image or a grid; say what was lost, and draw it."""
    from sim.chart.terrain_chart import draw_obstacle
    from terrain.ground_file import SUFFIX, Description, save_ground
    from terrain.importing import import_ground
    from terrain.intake import Intake
    from terrain.own_ground import obstacle_on

    yard, view = sized_for(truck, wheelbase, tyre, scale)
    intake = Intake(
        unit=unit,
        shrink=shrink,
        up=up,
        turn_deg=turn_deg,
        crop_mm=_numbers("--crop-mm", crop_mm, 4),  # type: ignore[arg-type]
        spacing=None if spacing_mm is None else 1e-3 * spacing_mm,
        pixel_mm=pixel_mm,
        relief_mm=_numbers("--relief-mm", relief_mm, 2),  # type: ignore[arg-type]
        thin_mm=thin_mm,
    )
    target = out if out is not None else Path(f"{file_stem(file.stem)}{SUFFIX}")
    if target.suffix.lower() != ".npz":
        target = target.with_name(target.name + SUFFIX)
    picture = target.with_suffix(".png")
    keep_source(file, target, picture)
    with _bar(f"reading {file.name}", quiet=as_json) as progress:
        ground, report = import_ground(file, intake, yard.cell, progress)
        progress(1.0)
    known = Description(schema=1, name=(name or file.stem)[:200], lane_mm=_lane(lane), report=report.as_dict())
    made = obstacle_on(ground, yard, name=known.name, seed=0, lane=known.lane())
    with whole(picture) as part:
        draw_obstacle(made, part, truck=view)
    with whole(target) as part:
        size = save_ground(part, ground, known)
    if as_json:
        show_json(report.as_dict() | {"file": str(target), "bytes": size, "picture": str(picture)})
        return
    _tell(report)
    say(f"Wrote {target} ({size / 1e6:.2f} MB) and {picture}")
    say(f"Drive it with: cragbench drive BUILD {target}")


def _tell(report: Any) -> None:
    say(
        f"{report.source}: {report.kind}, {report.size_mm[0]:.0f} x {report.size_mm[1]:.0f} mm, "
        f"{report.size_mm[2]:.1f} mm high, {report.nodes[0]} x {report.nodes[1]} nodes of {report.spacing_mm:g} mm"
    )
    if report.triangles:
        used = "" if report.triangles_used == report.triangles else f", thinned to {report.triangles_used}"
        say(f"  triangles: {report.triangles}{used}")
    say(f"  holes filled: {report.holes_percent:.2f} % of the ground; beyond its edge: {report.outside_percent:.2f} %")
    if report.kind == "mesh":
        lost = f", down to {report.overhang_mm:.1f} mm under the surface" if report.overhang_percent else ""
        say(f"  lost under overhangs: {report.overhang_percent:.2f} %{lost}")
