"""A truck from its right side and from above, to scale on a millimetre ruler: where the sheet puts every part.

Each part has a number in both views and its name in the key, so that a wrong place or size is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from models.ends import ends
from models.massprops import truck_properties, wheel_loads
from models.spec import PAIRED, HullShape, Part, Sheet
from sim.chart import style

WIDTH, KEY_WIDTH = 9.6, 3.0
"""Inches: of the picture, and of the key in it."""
LINE = 0.205
"""Inches of the key for one part."""
MEASURED, ASSUMED = "#B8D8EE", "#e4e7eb"
_UP, _ACROSS = 2, 1


def two_views(sheet: Sheet) -> Figure:
    """Draw a resolved sheet: the side view over the top view, forward to the right."""
    parts = sorted(sheet.parts, key=lambda part: (-part.at_mm[0], part.name))
    truck, loads = truck_properties(sheet), wheel_loads(sheet)
    x_ends, tall, wide = _extent(sheet)
    scale = (WIDTH - KEY_WIDTH - 0.9) / (x_ends[1] - x_ends[0])
    views = (tall * scale, 2 * wide * scale)
    height = max(sum(views) + 2.35, LINE * len(parts) + 2.6)
    measured = sum(part.source == "measured" for part in parts)
    title = (f"{sheet.name}: {1e3 * truck.mass:.0f} g, front bias {loads.front_percent:.1f} %, "
             f"CG height {1e3 * truck.cg[2]:.0f} mm")
    subtitle = f"1/{sheet.scale:g}, where the build sheet puts its parts; {measured} of {len(parts)} masses measured."
    made = style.figure(WIDTH, height, title, subtitle + (" The truck is invented." if sheet.invented else ""))
    top = style.top(made) * height
    left, across = 0.65 / WIDTH, (x_ends[1] - x_ends[0]) * scale / WIDTH
    side = made.add_axes((left, (top - 0.15 - views[0]) / height, across, views[0] / height))
    plan = made.add_axes((left, (top - 0.8 - sum(views)) / height, across, views[1] / height))
    for axes, axis, low, high, words in ((side, _UP, -0.02 * tall, tall, "up, mm"), (plan, _ACROSS, -wide, wide,
                                                                                    "left, mm")):
        _frame(axes, x_ends, (low, high), words)
        _wheels(axes, sheet, axis)
        _hull(axes, sheet, axis)
        _rods(axes, sheet, axis)
        middle = (1e3 * float(truck.cg[0]), 1e3 * float(truck.cg[axis]))
        _blocks(axes, parts, axis, middle)
        style.quartered(axes, middle, 0.07 / scale, style.COLOURS[1])
    side.axhline(0.0, color=style.INK, lw=1.4, zorder=1)
    plan.set_xlabel("forward from the rear axle, mm")
    _key(made, parts, height, top)
    return made


def _extent(sheet: Sheet) -> tuple[tuple[float, float], float, float]:
    """Ends along, height and half the width of everything drawn, mm."""
    things: list[Part | HullShape] = [*sheet.parts, *(shape for shape in sheet.hull if any(shape.size_mm))]
    radius = max(sheet.tyres.front.outside_diameter_mm, sheet.tyres.rear.outside_diameter_mm) / 2
    low = min([sheet.axles.rear.x_mm - radius, *(t.at_mm[0] - t.size_mm[0] / 2 for t in things)])
    high = max([sheet.axles.front.x_mm + radius, *(t.at_mm[0] + t.size_mm[0] / 2 for t in things)])
    tall = max([2 * radius, *(t.at_mm[2] + t.size_mm[2] / 2 for t in things)])
    wide = max([*((axle.track_mm + tyre.width_mm) / 2 for _, axle, tyre in ends(sheet)),
                *(abs(t.at_mm[1]) + t.size_mm[1] / 2 for t in things)])
    room = 0.03 * (high - low)
    return (low - room, high + room), tall + room, wide + room


def _frame(axes: Axes, x_ends: tuple[float, float], y_ends: tuple[float, float], words: str) -> None:
    axes.set_xlim(*x_ends)
    axes.set_ylim(*y_ends)
    axes.set_ylabel(words)
    axes.grid(color=style.GRID, lw=0.7, zorder=0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=9)
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)


def _wheels(axes: Axes, sheet: Sheet, axis: int) -> None:
    for _, axle, tyre in ends(sheet):
        radius = tyre.outside_diameter_mm / 2
        look: dict[str, Any] = {"fc": "#f3f4f6", "ec": style.QUIET, "lw": 1.4, "zorder": 1}
        if axis == _UP:
            axes.add_patch(Circle((axle.x_mm, radius), radius, **look))
            continue
        for side in (1, -1):
            corner = (axle.x_mm - radius, side * axle.track_mm / 2 - tyre.width_mm / 2)
            axes.add_patch(Rectangle(corner, 2 * radius, tyre.width_mm, **look))


def _hull(axes: Axes, sheet: Sheet, axis: int) -> None:
    for shape in sheet.hull:
        corner = (shape.at_mm[0] - shape.size_mm[0] / 2, shape.at_mm[axis] - shape.size_mm[axis] / 2)
        axes.add_patch(Rectangle(corner, shape.size_mm[0], shape.size_mm[axis], fc="none", ec=style.FAILED, lw=0.9,
                                 ls=(0, (3, 2)), zorder=5))


def _rods(axes: Axes, sheet: Sheet, axis: int) -> None:
    for axle in (sheet.axles.front, sheet.axles.rear):
        for link in axle.links:
            ends = np.array([link.chassis_mm, link.axle_mm])
            axes.plot(ends[:, 0], ends[:, axis], color="#4b5563", lw=2.0, marker=".", ms=5, zorder=6)
        ends = np.array([axle.shock.chassis_mm, axle.shock.axle_mm])
        for side in (1, -1) if axis == _ACROSS else (1,):
            along = ends[:, axis] * side
            axes.plot(ends[:, 0], along, color=style.COLOURS[2], lw=2.2, ls=(0, (1.5, 0.8)), zorder=6)


def _blocks(axes: Axes, parts: Sequence[Part], axis: int, kept_free: tuple[float, float]) -> None:
    numbered = list(enumerate(parts, start=1))
    for _, part in sorted(numbered, key=lambda entry: -entry[1].size_mm[0] * entry[1].size_mm[axis]):
        for side in (1, -1) if axis == _ACROSS and part.body in PAIRED else (1,):
            y = part.at_mm[axis] * side
            corner = (part.at_mm[0] - part.size_mm[0] / 2, y - part.size_mm[axis] / 2)
            shell = part.shape == "shell"
            fill = "none" if shell or part.body in PAIRED else MEASURED if part.source == "measured" else ASSUMED
            look: dict[str, Any] = {"fc": fill, "ec": style.INK, "lw": 1.1 if shell else 0.8, "alpha": 0.9, "zorder": 3}
            if part.shape in ("cylinder", "ring") and axis == _UP:
                axes.add_patch(Circle((part.at_mm[0], y), part.size_mm[0] / 2, **look))
            else:
                axes.add_patch(Rectangle(corner, part.size_mm[0], part.size_mm[axis], **look))
    spots = [kept_free]
    step = 0.035 * (axes.get_xlim()[1] - axes.get_xlim()[0])
    for number, part in numbered:
        spot = _clear((part.at_mm[0], part.at_mm[axis]), spots, step)
        spots.append(spot)
        if spot != (part.at_mm[0], part.at_mm[axis]):
            axes.plot([part.at_mm[0], spot[0]], [part.at_mm[axis], spot[1]], color=style.INK, lw=0.6, zorder=7)
        axes.text(*spot, str(number), ha="center", va="center", fontsize=7.5, zorder=8, clip_on=True,
                  bbox={"boxstyle": "circle,pad=0.18", "fc": "white", "ec": style.INK, "lw": 0.6})


def _clear(spot: tuple[float, float], taken: Sequence[tuple[float, float]], step: float) -> tuple[float, float]:
    """The nearest place to a spot where its number covers no other."""
    for ring in range(12):
        for turn in range(1 if ring == 0 else 8 * ring):
            angle = 2 * np.pi * turn / (8 * ring or 1) + np.pi / 2
            place = (spot[0] + ring * step * 0.5 * np.cos(angle), spot[1] + ring * step * 0.5 * np.sin(angle))
            if all(np.hypot(place[0] - t[0], place[1] - t[1]) > step for t in taken):
                return spot if ring == 0 else (float(place[0]), float(place[1]))
    return spot


def _key(made: Figure, parts: Sequence[Part], height: float, top: float) -> None:
    x = (WIDTH - KEY_WIDTH + 0.12) / WIDTH
    for row, part in enumerate(parts):
        grams = f"2 × {part.mass_each_g:g} g" if part.body in PAIRED else f"{part.mass_g:g} g"
        name = part.name if len(part.name) <= 26 else part.name[:25] + "…"
        mark = "" if part.source == "measured" else " *"
        made.text(x, (top - 0.2 - LINE * row) / height, f"{row + 1:>2}  {name}, {grams}{mark}", fontsize=8.5, va="top")
    made.text(0.16 / WIDTH, 0.12 / height, "* mass not measured. Orange dashes: hull, what can touch rock. "
              "Green: shocks. Quartered circle: CG.", fontsize=8.5, color=style.QUIET)
