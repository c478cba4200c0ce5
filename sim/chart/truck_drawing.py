"""A truck from the side, to scale: parts as blocks with their grams, axle loads, how the centre of gravity moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from models.ends import ends
from models.massprops import MassProperties, truck_properties, wheel_loads
from models.spec import PAIRED, Part, Sheet
from sim.chart import style
from sim.replay.parts import grams, state

SMALLEST_SHARE, SMALLEST_SHARE_NARROW = 0.012, 0.04
"""Of the truck's mass: what is lighter and unchanged is drawn without a label; in a wide and in a narrow picture."""
LABEL_WIDTH, LABEL_SIZE = 1.3, style.SMALL
"""Inches a label takes, and points of its letters."""


@dataclass(frozen=True)
class Block:
    """A part as it is drawn."""

    part: Part
    grams: float
    state: str
    """``same``, ``moved``, ``new`` or ``heavier or lighter``."""

    @property
    def label(self) -> str:
        """Name and grams, and what happened to it, as lines that fit a label."""
        each = "2 × " if self.part.body in PAIRED else ""
        bold = self.state != "same"
        lines = style.wrapped(self.part.name, LABEL_WIDTH - 0.06, LABEL_SIZE, bold)
        lines += [f"{each}{self.grams / (2 if each else 1):.3g} g"]
        return "\n".join(lines + style.wrapped(f"({self.state})", LABEL_WIDTH - 0.06, LABEL_SIZE, True) * bold)


def truck_drawing(sheet: Sheet, before: Sheet | None = None, name: str | None = None, width: float = 5.6) -> Figure:
    """Draw a resolved sheet from its right side, forward to the right.

    :param sheet: Truck to draw.
    :param before: The truck it was made from: what differs is coloured, an arrow shows how the centre of gravity moved.
    :param name: What to call it in the title; its own name if left out.
    :param width: Inches.
    """
    now, then = truck_properties(sheet), None if before is None else truck_properties(before)
    found = blocks(sheet, before)
    low, high, tall = _extent(found, sheet)
    scale = (width - 0.5) / (high - low)
    least = (SMALLEST_SHARE if width > 7 else SMALLEST_SHARE_NARROW) * 1e3 * now.mass
    shown = [b for b in found if b.grams >= least or b.state != "same"]
    upper, lower = _sides(shown, sheet)
    rows = [_rows(side, low, scale, width) for side in (upper, lower)]
    pitches = [style.tallest([block.label for block, _, _ in side], LABEL_SIZE) + 0.1 for side in rows]
    above, below = (pitch * (1 + max((row for _, _, row in r), default=-1)) + 0.1
                    for pitch, r in zip(pitches, rows, strict=True))
    assumed = sum(p.source == "assumed" for p in sheet.parts)
    subtitle = f"{sheet.name}, 1/{sheet.scale:g}, to scale: {1e3 * now.mass:.0f} g by its build sheet"
    subtitle += f", {assumed} of {len(sheet.parts)} masses assumed." if assumed else "."
    subtitle += " The truck is invented." if sheet.invented else ""
    foot = _foot_words(sheet, before, width)
    made = style.figure(width, tall * scale + above + below + 0.45 + foot[1], title(sheet, before, name), subtitle)
    height = made.get_figheight()
    top = style.top(made)
    axes = made.add_axes((0.25 / width, foot[1] / height, 1 - 0.5 / width, top - foot[1] / height))
    axes.set_xlim(low, high)
    axes.set_ylim(-below / scale, (top * height - foot[1]) / scale - below / scale)
    axes.set_axis_off()
    axes.set_aspect("equal")
    _wheels(axes, sheet)
    for block in sorted(found, key=lambda b: -b.part.size_mm[0] * b.part.size_mm[2]):
        _block(axes, block)
    _labels(axes, rows[0], tall + 0.08 / scale, pitches[0] / scale, 1)
    _labels(axes, rows[1], -0.22 / scale, pitches[1] / scale, -1)
    _centre(axes, now, then, scale)
    made.text(0.25 / width, (foot[1] - 0.1) / height, foot[0], va="top", fontsize=style.SMALL, color=style.QUIET,
              linespacing=style.LINE / 1.17)
    return made


def blocks(sheet: Sheet, before: Sheet | None) -> list[Block]:
    """Parts with what happened to them; a part is known by its name."""
    return [Block(part, grams(part), state(part, before)) for part in sheet.parts]


def title(sheet: Sheet, before: Sheet | None, name: str | None) -> str:
    """Where the centre of gravity is, or how it moved."""
    now, share = truck_properties(sheet), wheel_loads(sheet).front_percent
    who = name or sheet.name
    if before is None:
        return f"{who}: front bias {share:.1f} %, CG height {1e3 * now.cg[2]:.0f} mm"
    then = truck_properties(before)
    dx, dz = 1e3 * (now.cg[0] - then.cg[0]), 1e3 * (now.cg[2] - then.cg[2])
    way = f"{abs(dx):.1f} mm {'forward' if dx > 0 else 'back'}" if abs(dx) >= 0.05 else ""
    way += f"{' and ' if way else ''}{abs(dz):.1f} mm {'up' if dz > 0 else 'down'}" if abs(dz) >= 0.05 else ""
    was = wheel_loads(before).front_percent
    moved = f"moves the CG {way}" if way else "leaves the CG in place"
    return f"{who} {moved}: front bias {was:.1f} to {share:.1f} %"


def _extent(found: Sequence[Block], sheet: Sheet) -> tuple[float, float, float]:
    """Ends in x and the height of everything drawn, mm."""
    radius = sheet.tyres.front.outside_diameter_mm / 2
    lows = [b.part.at_mm[0] - b.part.size_mm[0] / 2 for b in found] + [sheet.axles.rear.x_mm - radius]
    highs = [b.part.at_mm[0] + b.part.size_mm[0] / 2 for b in found] + [sheet.axles.front.x_mm + radius]
    tops = [b.part.at_mm[2] + b.part.size_mm[2] / 2 for b in found] + [2 * radius]
    room = 0.03 * (max(highs) - min(lows))
    return min(lows) - room, max(highs) + room, max(tops) + room


def _sides(found: Sequence[Block], sheet: Sheet) -> tuple[list[Block], list[Block]]:
    """Labels above for what is high on the chassis, below for the rest."""
    high = 0.8 * sheet.tyres.front.outside_diameter_mm
    upper = [b for b in found if b.part.body == "chassis" and b.part.at_mm[2] > high]
    lower = [b for b in found if b not in upper]
    return upper, lower


def _rows(side: Sequence[Block], low: float, scale: float, width: float) -> list[tuple[Block, float, int]]:
    """(block, label's x in mm, row) so that labels in a row do not touch."""
    per_row = max(1, int((width - 0.5) / LABEL_WIDTH))
    ordered = sorted(side, key=lambda b: b.part.at_mm[0])
    count = max(1, min(-(-len(ordered) // per_row), len(ordered) or 1))
    out = []
    for row in range(count):
        mine = ordered[row::count]
        want = np.array([(b.part.at_mm[0] - low) * scale for b in mine])
        out += [(b, low + x / scale, row) for b, x in zip(mine, _apart(want, width - 0.5), strict=True)]
    return out


def _apart(want: np.ndarray, width: float) -> np.ndarray:
    """Places (inches) near the wanted ones, in order, at least a label apart and inside the width."""
    x = want.copy()
    for _ in range(60):
        for i in range(len(x) - 1):
            lack = LABEL_WIDTH - (x[i + 1] - x[i])
            if lack > 0:
                x[i] -= lack / 2
                x[i + 1] += lack / 2
        x = np.clip(x, LABEL_WIDTH / 2, max(width - LABEL_WIDTH / 2, LABEL_WIDTH / 2))
    return x


def _wheels(axes: Axes, sheet: Sheet) -> None:
    for _, axle, tyre in ends(sheet):
        radius = tyre.outside_diameter_mm / 2
        axes.add_patch(Circle((axle.x_mm, radius), radius, fc=style.TYRE, ec=style.QUIET, lw=1.4, zorder=1))
    axes.axhline(0.0, color=style.INK, lw=1.4, zorder=1)


def _block(axes: Axes, block: Block) -> None:
    part, changed = block.part, block.state != "same"
    length, _, tall = part.size_mm
    corner = (part.at_mm[0] - length / 2, part.at_mm[2] - tall / 2)
    look: dict[str, Any] = {"ec": style.FAILED if changed else style.QUIET, "lw": 1.8 if changed else 0.9}
    fill = style.CHANGED if changed else style.PART
    if part.shape in ("ring", "cylinder") and part.body in PAIRED:
        axes.add_patch(Circle((part.at_mm[0], part.at_mm[2]), length / 2, fc="none", zorder=2, **look))
    elif part.shape == "shell":
        axes.add_patch(Rectangle(corner, length, tall, fc=fill, alpha=0.35, zorder=2, **look))
    else:
        axes.add_patch(Rectangle(corner, length, tall, fc=fill, zorder=4 if changed else 3, **look))


def _labels(axes: Axes, rows: Sequence[tuple[Block, float, int]], start: float, pitch: float, way: int) -> None:
    for block, x, row in rows:
        y = start + way * row * pitch
        axes.text(x, y, block.label, ha="center", va="bottom" if way > 0 else "top", fontsize=LABEL_SIZE,
                  linespacing=1.1, color=style.INK, weight="normal" if block.state == "same" else "bold", zorder=8,
                  bbox={"fc": style.PAPER, "ec": "none", "pad": 1.0})
        spot = (block.part.at_mm[0], block.part.at_mm[2] + way * block.part.size_mm[2] * 0.2)
        axes.plot([x, spot[0]], [y - way * 0.02 * pitch, spot[1]], color=style.QUIET, lw=0.7, zorder=7)
        axes.plot(*spot, ".", color=style.QUIET, ms=4, zorder=7)


def _centre(axes: Axes, now: MassProperties, then: MassProperties | None, scale: float) -> None:
    radius = 0.085 / scale
    x, z = 1e3 * now.cg[0], 1e3 * now.cg[2]
    if then is not None:
        x0, z0 = 1e3 * then.cg[0], 1e3 * then.cg[2]
        axes.add_patch(Circle((x0, z0), radius, fc="white", ec=style.INK, lw=1.4, ls=(0, (2, 1.5)), zorder=9))
        _arrow(axes, (x0, z0), (x, z), radius)
    style.quartered(axes, (x, z), radius)
    axes.plot([x, x], [0, z - radius], color=style.COLOURS[0], lw=1.4, ls=(0, (3, 2)), zorder=8)


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float], radius: float) -> None:
    """How far the centre of gravity moved, to scale, drawn above both places so that neither hides it."""
    distance = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    if distance < 0.05:
        return
    lift = 2.0 * radius
    axes.annotate("", (end[0], end[1] + lift), (start[0], start[1] + lift), zorder=12, arrowprops={
        "arrowstyle": "-|>", "color": style.COLOURS[0], "lw": 2.4, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 13})
    axes.text(end[0] + 1.6 * radius, end[1] + 1.2 * lift, f"{distance:.1f} mm", color=style.COLOURS[0], weight="bold",
              fontsize=LABEL_SIZE, va="bottom", zorder=12, bbox={"fc": style.PAPER, "ec": "none", "pad": 1.0})


def _foot_words(sheet: Sheet, before: Sheet | None, width: float) -> tuple[str, float]:
    """Axle loads and the key, broken into lines, and the inches that they take."""
    now, then = wheel_loads(sheet).front_percent, None if before is None else wheel_loads(before).front_percent
    was = ("", "") if then is None else (f"{100 - then:.1f} → ", f"{then:.1f} → ")
    text = f"Left: rear axle {was[0]}{100 - now:.1f} %. Right: front axle {was[1]}{now:.1f} %. "
    text += "Quartered circle: CG"
    text += "; dashed circle: before; orange: changed." if before is not None else "."
    lines = style.wrapped(text, width - 0.5)
    return "\n".join(lines), style.LINE * style.SMALL / 72.0 * len(lines) + 0.3
