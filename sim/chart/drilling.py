"""The drilling sheet at true scale, on A4 or Letter."""

from __future__ import annotations

import math
import textwrap
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from sim.chart import PAPERS, style
from sim.decision.drilling import CAUTIONS, Drill, Template
from sim.errors import SimError

MM = 1.0 / 25.4
MARGIN = 12.0
BAR = 100.0
NAME_STEP = 3.4
"""mm between two names at the edge of the plan."""
FOOT = 92.0
"""mm at the foot of the page for bars, cautions and the list of holes."""
HEAD = 26.0
DANGER = "#B3261E"


class PaperFrame(NamedTuple):
    """Where the plan lies on the paper."""

    left: float
    bottom: float
    width: float
    height: float
    across: float
    """Paper mm of the truck's middle line."""
    start: float
    """Sheet x (mm) of the line that measures are taken from; paper mm of it is ``datum``."""
    datum: float

    def spot(self, at: tuple[float, float]) -> tuple[float, float]:
        """Paper mm of a place on the truck: forward is up, left is left."""
        return self.across - at[1], self.datum + at[0] - self.start


def drilling(made: Template, paper: str = "a4") -> Figure:
    """Draw the sheet; one unit of the drawing is 1 mm of paper.

    :raises SimError: No such paper, or holes too far apart for it.
    """
    if paper not in PAPERS:
        raise SimError("no such paper", field="paper", value=paper, remedy=f"Choose one of: {', '.join(PAPERS)}")
    width, height = PAPERS[paper]
    page = _page(made, width, height, paper)
    figure = style.blank(width * MM, height * MM)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, width)
    axes.set_ylim(0.0, height)
    axes.set_axis_off()
    _head(axes, made, width, height)
    _plan(axes, made, page)
    _bars(axes, width)
    _words(axes, made, width, page)
    return figure


def _page(made: Template, width: float, height: float, paper: str) -> PaperFrame:
    box = (MARGIN, FOOT, width - 2 * MARGIN, height - FOOT - HEAD - MARGIN)
    xs = [hole.at[0] for hole in (*made.new, *made.old)]
    ys = [hole.at[1] for hole in (*made.new, *made.old)]
    if max(map(abs, ys)) > box[2] / 2 - 6.0:
        raise SimError("the holes are too far apart for this paper", field="paper", value=paper,
                       remedy="Split the change into two sheets")
    room = box[3] - 16.0
    # From the rear axle where it fits on the page, else from a line a whole ten millimetres ahead of it.
    low, high = min(0.0, *xs), max(xs)
    start = 0.0
    if high - low > room:
        near = [hole.at[0] for hole in made.new]
        start = 10.0 * math.floor((min(near) - 20.0) / 10.0)
        low, high = start, max(near)
        if high - low > room:
            raise SimError("the new holes are too far apart for this paper", field="paper", value=paper,
                           remedy="Split the change into two sheets")
    spare = (room - (high - low)) / 2.0
    return PaperFrame(*box, across=width / 2.0, start=start, datum=box[1] + 8.0 + spare + (start - low))


def _head(axes: Axes, made: Template, width: float, height: float) -> None:
    top = height - MARGIN
    axes.text(MARGIN, top, "\n".join(textwrap.wrap(f"Drilling sheet 1:1 · {made.title}", 72)[:2]), fontsize=12,
              weight="bold", va="top")
    drilled = "" if made.plate is None else f" Drilled: {made.plate.name}."
    axes.text(MARGIN, top - 13.0, f"{made.truck}.{drilled} Seen from above, front up; millimetres.",
              fontsize=8.5, color=style.QUIET, va="top")
    axes.add_patch(Rectangle((width - MARGIN - 46.0, top - 16.5), 4.0, 4.0, fill=False, ec=style.INK, lw=1.0))
    axes.text(width - MARGIN - 40.0, top - 14.5, "the pack is out", fontsize=9.5, va="center")


def _plan(axes: Axes, made: Template, page: PaperFrame) -> None:
    frame = Rectangle((page.left, page.bottom), page.width, page.height, fill=False, ec=style.GRID, lw=0.8)
    axes.add_patch(frame)
    if made.plate is not None:
        plate = Polygon([page.spot(c) for c in made.plate.corners], closed=True, fc="#f3f5f7", ec=style.QUIET, lw=0.8)
        axes.add_patch(plate)
        plate.set_clip_path(frame)
    for area in made.keep_out:
        patch = Polygon([page.spot(c) for c in area.corners], closed=True, fc="none", ec=DANGER, lw=0.5, hatch="////",
                        alpha=0.45)
        axes.add_patch(patch)
        patch.set_clip_path(frame)
    for area in made.placed:
        goes = Polygon([page.spot(c) for c in area.corners], closed=True, fc="none", ec=style.COLOURS[0], lw=0.9,
                       ls=(0, (4, 2)))
        axes.add_patch(goes)
        goes.set_clip_path(frame)
    x = page.across
    axes.plot([x, x], [page.bottom + 1.0, page.bottom + page.height - 1.0], color=style.QUIET, lw=0.5, ls="-.")
    axes.plot([page.left + 1.0, page.left + page.width - 1.0], [page.datum] * 2, color=style.INK, lw=0.9)
    word = "rear axle's centre: x = 0" if page.start == 0.0 else f"{page.start:g} mm ahead of the rear axle's centre"
    axes.text(page.left + 2.0, page.datum - 1.2, f"datum line, {word}", fontsize=7.5, va="top")
    for hole in made.kept:
        _ring(axes, page, hole, style.QUIET, "-", 0.5, frame)
    for hole in made.old:
        _ring(axes, page, hole, style.QUIET, (0, (2, 1.5)), 0.8, frame)
    for number, hole in enumerate(made.new, start=1):
        _ring(axes, page, hole, style.INK, "-", 0.9, frame)
        x, y = page.spot(hole.at)
        reach = max(4.0, hole.diameter)
        axes.plot([x - reach, x + reach], [y, y], color=style.INK, lw=0.4)
        axes.plot([x, x], [y - reach, y + reach], color=style.INK, lw=0.4)
        side = 1.0 if x >= page.across else -1.0
        axes.text(x + side * (reach + 0.8), y + 0.6, f"{number}", fontsize=9, weight="bold", va="bottom",
                  ha="left" if side > 0 else "right",
                  bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.85})
    _forward(axes, page)
    _area_names(axes, made, page)


def _area_names(axes: Axes, made: Template, page: PaperFrame) -> None:
    """Name what to keep out of at the edges of the plan, each with a line to it: no word lies where a hole may be."""
    top, low = page.bottom + page.height, page.bottom
    columns: dict[int, list[tuple[float, float, str]]] = {-1: [], 1: []}
    for area in made.keep_out:
        spots = np.array([page.spot(c) for c in area.corners])
        x = float(np.clip(spots[:, 0].mean(), page.left + 2.0, page.left + page.width - 2.0))
        first, last = max(float(spots[:, 1].min()), low), min(float(spots[:, 1].max()), top)
        y = 0.5 * (first + last)
        if last - first > 1.0:
            fewer = -1 if len(columns[-1]) <= len(columns[1]) else 1
            columns[fewer if abs(x - page.across) < 1.0 else -1 if x < page.across else 1].append((y, x, area.name))
    # The right column begins under the arrow, both leave the datum line and its words alone.
    for side, at, start, below in ((-1, page.left + 1.5, top - 3.0, 6.0),
                                   (1, page.left + page.width - 1.5, top - 24.0, 2.2)):
        line = start
        for y, x, name in sorted(columns[side], reverse=True):
            line = min(line, y)
            if page.datum - below < line < page.datum + 2.2:
                line = page.datum - below
            axes.text(at, line, name, fontsize=6.5, ha="left" if side < 0 else "right", va="center", color=DANGER,
                      bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.85}, zorder=4)
            end = at - side * (25.4 * style.text_width(name, 6.5) + 0.8)
            axes.plot([end, x], [line, y], color=DANGER, lw=0.35, alpha=0.7, zorder=3)
            axes.plot(x, y, "o", color=DANGER, ms=1.4, zorder=3)
            line -= NAME_STEP


def _ring(axes: Axes, page: PaperFrame, hole: Drill, colour: str, dashes: Any, width: float, frame: Rectangle) -> None:
    ring = Circle(page.spot(hole.at), hole.diameter / 2.0, fill=False, ec=colour, lw=width, ls=dashes)
    ring.set_gid(f"hole-{hole.part}-{hole.at[0]:g}-{hole.at[1]:g}")
    axes.add_patch(ring)
    ring.set_clip_path(frame)


def _forward(axes: Axes, page: PaperFrame) -> None:
    x, y = page.left + page.width - 8.0, page.bottom + page.height - 16.0
    axes.annotate("", (x, y + 11.0), (x, y), arrowprops={"arrowstyle": "-|>", "color": style.INK, "lw": 1.0})
    axes.text(x, y - 1.0, "front", fontsize=8, ha="center", va="top")


def _bars(axes: Axes, width: float) -> None:
    """Two bars, since a printer may stretch one way only."""
    x, y = MARGIN + 4.0, FOOT - 11.0
    axes.plot([x, x + BAR], [y, y], color=style.INK, lw=1.2, gid="bar-across", solid_capstyle="butt")
    for tick in range(0, int(BAR) + 1, 10):
        axes.plot([x + tick] * 2, [y, y + (3.0 if tick % 50 == 0 else 1.8)], color=style.INK, lw=0.7)
    axes.text(x + BAR / 2, y - 1.2, "this bar is 100 mm long, or the print is wrong", fontsize=7.5, ha="center",
              va="top")
    x, y = width - MARGIN + 4.0, FOOT + 4.0
    axes.plot([x, x], [y, y + BAR], color=style.INK, lw=1.2, gid="bar-up", solid_capstyle="butt")
    for tick in range(0, int(BAR) + 1, 10):
        axes.plot([x - (3.0 if tick % 50 == 0 else 1.8), x], [y + tick] * 2, color=style.INK, lw=0.7)
    axes.text(x + 1.2, y + BAR / 2, "100 mm", fontsize=7.5, rotation=90, ha="left", va="center")


def _off_the_sheet(made: Template, page: PaperFrame) -> list[str]:
    """Where the old holes are that do not fit on the paper with the new ones."""
    low, high = page.bottom, page.bottom + page.height
    off = [hole for hole in made.old if not low <= page.spot(hole.at)[1] <= high]
    if not off:
        return []
    xs = sorted({round(hole.at[0], 1) for hole in off})
    return [f"{len(off)} old holes are off this sheet, at x {', '.join(f'{x:g}' for x in xs[:4])}"]


def _words(axes: Axes, made: Template, width: float, page: PaperFrame) -> None:
    x, y = MARGIN, FOOT - 20.0
    middle = MARGIN + 118.0
    lines = [line for caution in CAUTIONS for line in textwrap.wrap("• " + caution, 82, subsequent_indent="   ")]
    axes.text(x, y, "Before you drill", fontsize=9, weight="bold", va="top")
    axes.text(x, y - 4.6, "\n".join(lines), fontsize=6.9, va="top", linespacing=1.3)
    axes.text(middle, y, "New holes (x forward, y left)", fontsize=9, weight="bold", va="top")
    rows = [f"{n}:  x {hole.at[0]:.1f}  y {hole.at[1]:+.1f}  ⌀ {hole.diameter:g}"
            for n, hole in enumerate(made.new[:10], start=1)]
    rows += [f"… and {len(made.new) - 10} more"] if len(made.new) > 10 else []
    nearest = sorted(made.spacing, key=lambda s: s[2])[:4]
    rows += [f"{i + 1} to {j + 1}: {gap:.1f} mm between centres" for i, j, gap in nearest]
    rows += made.from_edge
    rows += ["dashed: old holes; hatched: keep out;", "blue: the part in its new place"]
    rows += _off_the_sheet(made, page)
    axes.text(middle, y - 4.6, "\n".join(rows), fontsize=7.2, va="top", linespacing=1.3)
    if made.faults:
        y -= 5.4 + 3.35 * len(rows)
        told = [line for fault in made.faults for line in textwrap.wrap("! " + fault, 52, subsequent_indent="  ")]
        most = max(2, int((y - 6.0) / 3.0))
        told = told if len(told) <= most else [*told[: most - 1], "! … see the list on the screen"]
        axes.text(middle, y, "\n".join(told), fontsize=6.9, va="top", color=DANGER, linespacing=1.25)
