"""One's own rocks brought in: the file read as ground, kept with its picture; for the command and for the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sim.chart.terrain_chart import SideView, draw_obstacle
from terrain.ground_file import Description, save_ground
from terrain.importing import import_ground
from terrain.intake import Intake, IntakeReport
from terrain.own_ground import obstacle_on
from terrain.raster import Progress
from terrain.whole_file import told_whole
from terrain.yardstick import Yardstick


@dataclass(frozen=True)
class Brought:
    """Ground that was brought in."""

    file: Path
    picture: Path
    size: int
    """Bytes."""
    report: IntakeReport

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was read, and what was lost."""
        report = self.report
        length, width, relief = report.size_mm
        told = [f"{report.source}: {report.kind}, {length:.0f} x {width:.0f} mm, {relief:.1f} mm high, "
                f"{report.nodes[0]} x {report.nodes[1]} nodes of {report.spacing_mm:g} mm"]
        if report.triangles:
            used = "" if report.triangles_used == report.triangles else f", thinned to {report.triangles_used}"
            told.append(f"triangles: {report.triangles}{used}")
        told.append(f"holes filled: {report.holes_percent:.2f} % of the ground; beyond its edge: "
                    f"{report.outside_percent:.2f} %")
        if report.kind == "mesh":
            lost = f", down to {report.overhang_mm:.1f} mm under the surface" if report.overhang_percent else ""
            told.append(f"lost under overhangs: {report.overhang_percent:.2f} %{lost}")
        return tuple(told)


def bring_in(
    source: Path, target: Path, intake: Intake, *, name: str, lane: Sequence[tuple[float, float]], yard: Yardstick,
    view: SideView, progress: Progress | None = None,
) -> Brought:  # fmt: skip
    """Read a mesh, height image or grid; write the ground file, and a picture of it beside.

    :param name: What to call it.
    :param lane: mm, x and y; empty for straight through the middle.
    :param yard: Size of the truck it is for.
    :param view: That truck, for the picture.
    :raises TerrainError: The file is not usable, or nothing can be written there.
    """
    picture = target.with_suffix(".png")
    ground, report = import_ground(source, intake, yard.cell, progress)
    known = Description(schema=1, name=name[:200], lane_mm=tuple(lane), report=report.as_dict())
    made = obstacle_on(ground, yard, name=known.name, seed=0, lane=known.lane())
    with told_whole(picture) as part:
        draw_obstacle(made, part, truck=view)
    with told_whole(target) as part:
        size = save_ground(part, ground, known)
    return Brought(target, picture, size, report)


def sized_by(build: Path, scale: float | None = None) -> tuple[Yardstick, SideView]:
    """Give the size and the side view of a build sheet's truck.

    :param scale: Instead of the sheet's own.
    :raises BuildSheetError: The sheet cannot be used.
    """
    from sim.batch.study import yard_of
    from sim.trial.truck import load_truck

    model = load_truck(build).model
    yard = yard_of(model)
    kept = yard.scale if scale is None else scale
    return Yardstick(1e-3 * yard.wheelbase_mm, 1e-3 * yard.tyre_radius_mm, kept), SideView.of(model)
