"""All obstacle families at their three levels on one sheet."""

from __future__ import annotations

from pathlib import Path

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.chart.relief import paint_relief
from terrain import catalog
from terrain.families.registry import FAMILIES
from terrain.yardstick import Yardstick


def draw_contact_sheet(
    path: Path, *, wheelbase: float, tyre_radius: float, seed: int, scale: float | None = None
) -> None:
    """Draw every family (a row) at its easy, middling and hard level (columns) to a PNG or SVG file.

    Sizes in m. Every relief is drawn to its own scale, since a climb is ten times a ledge.
    """
    yard = Yardstick(wheelbase, tyre_radius, 0.0 if scale is None else scale)
    families = list(FAMILIES.values())
    per_row = 2
    rows = -(-len(families) // per_row)
    figure = Figure(figsize=(17.0, 1.55 * rows), facecolor="white")
    FigureCanvasAgg(figure)
    grid = figure.subplots(rows, 3 * per_row, squeeze=False)
    figure.subplots_adjust(left=0.005, right=0.995, bottom=0.005, top=0.985, wspace=0.03, hspace=0.22)
    for axes in grid.flat:
        axes.set_axis_off()
    for k, family in enumerate(families):
        row, block = k % rows, k // rows
        for column, level in enumerate(family.levels(yard)):
            obstacle = catalog.make(
                family.name, level, wheelbase=wheelbase, tyre_radius=tyre_radius, seed=seed, scale=scale
            )
            axes = grid[row, 3 * block + column]
            paint_relief(axes, obstacle, quads=(160, 45))
            axes.set_title(f"{family.name} {level:g} {family.unit}", fontsize=8, pad=1.0, color="#222222")
    figure.savefig(path, dpi=110)
