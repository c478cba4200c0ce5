"""What moving a part does at every position: bias, tip angles, simulated limits and the weighted mix."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from models import glossary
from sim.chart import style
from sim.decision.obstacle_mix import Line
from sim.decision.shift import ShiftAnswer

WIDTH = 10.4
_LEFT, _GAP = 0.75, 0.85
TIPS = (("back", glossary.BACK), ("front", glossary.OVER), ("left", f"{glossary.SIDEWAYS}, left low"),
        ("right", f"{glossary.SIDEWAYS}, right low"))


def shift(found: ShiftAnswer, title: str, assumed: str = "") -> Figure:
    """Draw the sweep: handbook numbers as lines, driven positions as points, the mix with 95 % intervals."""
    panels = 3 + len(found.lines)
    rows = -(-panels // 2)
    subtitle = (
        f"Lines: handbook, rigid truck. Points: simulated, mean of {found.found.n} repeats with the same luck at every "
        f"position; dashes: each repeat; bars: 95 % of the mix. Grey: something is in the way there. {assumed}"
    )
    named = style.lines_of((_told(line) for line in found.lines), _panel_width())
    origin = " (rear axle at 0)" if found.move.axis == "x" else ""
    across = "\n".join(style.wrapped(f"{found.move.part}: {found.move.axis}, mm{origin}", _panel_width()))
    words = style.tallest([across]) + style.tallest([*named, "one line"])
    made = style.figure(WIDTH, 0.3 + (1.97 + words) * rows, title, subtitle)
    axes = _grid(made, panels, rows, style.tallest([across]), words)
    _bias(axes[0], found)
    _tips(axes[1], found)
    _mix(axes[2], found)
    for index in range(len(found.lines)):
        _line(axes[3 + index], found, index, named[index])
    for one in axes:
        _ways(one, found)
        one.set_xlabel(across, fontsize=style.SMALL)
    return made


def _grid(made: Figure, panels: int, rows: int, foot: float, words: float) -> list[Axes]:
    """Axes two by two, with room (inches) for the words below each and for all words around it."""
    height = made.get_figheight()
    width = _panel_width()
    top = style.top(made) * height - 0.2
    pitch = (top - 0.36 - foot) / rows
    found = []
    for k in range(panels):
        row, column = divmod(k, 2)
        left = _LEFT + column * (width + _GAP)
        bottom = top - (row + 1) * pitch + 0.44 + foot
        axes = made.add_axes((left / WIDTH, bottom / height, width / WIDTH, (pitch - 0.56 - words) / height))
        style.frame(axes, grid="y")
        found.append(axes)
    return found


def _panel_width() -> float:
    return (WIDTH - 2 * _LEFT - _GAP + 0.35) / 2


def _bias(axes: Axes, found: ShiftAnswer) -> None:
    axes.plot([s.position for s in found.statics], [s.front_percent for s in found.statics], color=style.INK, lw=1.8)
    _named(axes, f"{glossary.FRONT_BIAS}, %")


def _tips(axes: Axes, found: ShiftAnswer) -> None:
    x = [s.position for s in found.statics]
    curves: list[tuple[Any, list[float]]] = [
        (word, [getattr(s.tip_deg, side) for s in found.statics]) for side, word in TIPS
    ]
    if np.allclose(curves[2][1], curves[3][1], atol=0.05):
        curves = [*curves[:2], (glossary.SIDEWAYS, curves[2][1])]
    for k, (word, y) in enumerate(curves):
        axes.plot(x, y, color=style.colour(k), lw=1.8, ls=("-", "--", "-.", ":")[k], label=word)
    axes.legend(frameon=False, fontsize=style.SMALL, loc="upper left", ncols=2, borderaxespad=0.1, handlelength=2.4)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.45 * (high - low))
    _named(axes, "handbook tip angle, degrees")


def _mix(axes: Axes, found: ShiftAnswer) -> None:
    axes.axhline(0.0, color=style.QUIET, lw=1.0)
    axes.plot(found.positions[0], 0.0, "o", color=style.INK, ms=8, mec="white", zorder=3)
    for position, effect in zip(found.positions[1:], found.effects, strict=True):
        best = position == found.position
        colour = style.COLOURS[0] if best else style.QUIET
        if best:
            whole = found.judgement.shown
            axes.vlines(position, whole.low, whole.high, color=colour, lw=5.5, alpha=0.35, zorder=2)
        axes.vlines(position, effect.gain.low, effect.gain.high, color=colour, lw=2.2, zorder=2)
        axes.plot(position, effect.gain.value, "D" if best else "s", color=colour, ms=8, mec="white", zorder=3)
    _named(axes, "whole mix, points of the chance to clear" + (" (pale: unknowns too)" if found.judgement.both else ""))


def _told(line: Line) -> str:
    return f"{line.name}: cleared, %" if line.level is not None else f"{line.name}: limit, {style.unit_word(line.unit)}"


def _line(axes: Axes, found: ShiftAnswer, index: int, title: str) -> None:
    line = found.lines[index]
    scale = 100.0 if line.level is not None else 1.0
    for k, (position, truck) in enumerate(zip(found.positions, found.found.trucks, strict=False)):
        mean = scale * found.found.reached(truck, index).value
        colour = style.INK if k == 0 else style.COLOURS[0]
        each = scale * found.found.limit[found.found.trucks.index(truck), index]
        axes.plot(np.full(len(each), position), each, "_", color=colour, ms=11, alpha=0.85, zorder=2)
        axes.plot(position, mean, "o" if k == 0 else "s", color=colour, ms=8, mec="white", zorder=3)
        axes.annotate(f"{mean:.1f}", (position, mean), (7, 3),
                      textcoords="offset points", fontsize=style.SMALL)
    _at_least(axes, 0.12 * scale * float(found.found.limit[:, index].mean()))
    axes.set_title(title, fontsize=style.SMALL, color=style.INK)


def _at_least(axes: Axes, span: float) -> None:
    """Do not blow up differences that do not matter."""
    low, high = axes.get_ylim()
    if high - low < span:
        middle = 0.5 * (low + high)
        axes.set_ylim(middle - 0.5 * span, middle + 0.5 * span)


def _named(axes: Axes, title: str) -> None:
    axes.set_title("\n".join(style.wrapped(title, _panel_width())), fontsize=style.SMALL, color=style.INK)


def _ways(axes: Axes, found: ShiftAnswer) -> None:
    room = found.move.room
    low, high = axes.get_ylim()
    for stretch in room.blocked:
        start, end = max(stretch.low, room.low), min(stretch.high, room.high)
        if start < end:
            axes.axvspan(start, end, color="#eceff2", lw=0, zorder=0)
    axes.set_ylim(low, high)
    span = room.high - room.low
    axes.set_xlim(room.low - 0.03 * span, room.high + 0.03 * span)
    axes.axvline(room.now, color=style.QUIET, lw=1.0, ls=":", zorder=1)
