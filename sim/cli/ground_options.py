"""What the terrain commands share: whose truck the ground is sized for, and files that appear only when whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli.options import Json as Json

if TYPE_CHECKING:
    from sim.chart.terrain_chart import SideView
    from terrain.yardstick import Yardstick

WHEELBASE, TYRE = 140.0, 56.0
"""mm; the 1/24 truck that ground is sized for when no truck is given."""
SizedFor = Annotated[Path | None, typer.Option("--truck", help="Build sheet whose truck the ground is sized for.")]
Wheelbase = Annotated[float | None, typer.Option("--wheelbase-mm", help="Instead of a build sheet.")]
Tyre = Annotated[float | None, typer.Option("--tyre-mm", help="Tyre outside diameter, instead of a build sheet.")]
Scale = Annotated[float | None, typer.Option(help="24 for 1/24, where published full-size dimensions count.")]


def sized_for(
    build: Path | None, wheelbase: float | None, tyre: float | None, scale: float | None
) -> tuple[Yardstick, SideView]:
    """(yardstick, side view) of the truck that was named, or of a usual 1/24."""
    from sim.chart.ground_import import sized_by
    from sim.chart.terrain_chart import SideView
    from terrain.errors import TerrainError
    from terrain.yardstick import Yardstick

    if build is not None:
        if wheelbase is not None or tyre is not None:
            raise TerrainError("given twice", field="--truck", remedy="give --truck, or --wheelbase-mm and --tyre-mm")
        return sized_by(build, scale)
    measures = Yardstick(1e-3 * (WHEELBASE if wheelbase is None else wheelbase),
                         0.5e-3 * (TYRE if tyre is None else tyre), 0.0 if scale is None else scale)
    return measures, SideView(measures.wheelbase, measures.tyre_radius)


def file_stem(obstacle: str) -> str:
    """A file name from what the user typed: letters, digits and a few signs, never a path."""
    base = Path(obstacle.partition("#")[0]).name.replace(".ground.npz", "").replace(".toml", "")
    name = "".join(c if c.isalnum() or c in "-_." else "-" for c in base)
    return name.strip(".-")[:80] or "obstacle"


def check_picture(path: Path) -> None:
    """Raise TerrainError unless the path names a PNG or SVG."""
    from terrain.errors import TerrainError

    if path.suffix.lower() not in (".png", ".svg"):
        raise TerrainError("not a picture that can be written", file=path, field="--out", remedy="use .png or .svg")


def keep_source(source: Path, *targets: Path) -> None:
    """Raise TerrainError when a file to be written is the one that is read."""
    from terrain.errors import TerrainError

    for target in targets:
        if target.resolve() == source.resolve():
            raise TerrainError("would overwrite the file it is made from", file=target, remedy="choose another --out")
