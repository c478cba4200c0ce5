"""Success rate against difficulty on one kind of obstacle: a curve per configuration with its intervals."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import counted, shortened
from sim.compare import sentences
from sim.compare.comparison import CellResult

MOST = 8
"""Curves in colour; further ones stay grey."""
BANDS = 3
"""Curves up to which a band can be told from another's."""


def difficulty(cells: Sequence[CellResult], names: Sequence[str], assumed: str = "", width: float = 5.6) -> Figure:
    """Draw success rate (percent) over level with 95 % Wilson intervals.

    :param cells: All of one obstacle and driver.
    :param names: Configurations in the order of their colours, the baseline first.
    :param assumed: What to say about assumptions under the title.
    :param width: Inches.
    """
    bands = " and bands" if len(names) <= BANDS else ""
    subtitle = f"{counted(cells)} trials a point; bars{bands}: 95 % Wilson interval. {assumed}"
    rows = -(-min(len(names), MOST) // (3 if width > 7 else 1))
    made = style.figure(width, (4.9 if width > 7 else 4.6) + 0.24 * rows, title(cells), subtitle, wrap=int(7.8 * width))
    height = made.get_figheight()
    top = style.top(made) - (0.24 * rows + 0.06) / height
    axes = made.add_axes((0.84 / width, 0.62 / height, 1 - 1.0 / width, top - 0.62 / height))
    style.frame(axes, grid="y")
    levels = sorted({cell.level for cell in cells})
    span = (levels[-1] - levels[0]) or 1.0
    strong = _strong(cells, names)
    for index, name in enumerate(names):
        own = sorted((c for c in cells if c.name == name and c.rate.trials), key=lambda c: c.level)
        if not own:
            continue
        seen = name in strong
        colour = style.colour(index) if seen else style.GRID
        shift = 0.012 * span * (index - 0.5 * (len(strong) - 1)) if seen else 0.0
        x = [cell.level + shift for cell in own]
        axes.plot(x, [100 * cell.rate.share for cell in own], style.mark(index), ls="-", color=colour, lw=2.0,
                  ms=8 if seen else 4, mec="white", zorder=3 if seen else 1, label=shortened(name) if seen else None)
        if seen:
            low, high = ([100 * getattr(cell.rate, end) for cell in own] for end in ("low", "high"))
            if len(strong) <= BANDS:
                axes.fill_between(x, low, high, color=colour, alpha=0.10, lw=0, zorder=1)
            axes.vlines(x, low, high, color=colour, lw=2.0, alpha=0.85, zorder=2)
    axes.set_ylim(-3, 103)
    axes.set_yticks(range(0, 101, 20), [f"{v} %" for v in range(0, 101, 20)])
    axes.set_xticks(levels if len(levels) <= 9 else levels[:: -(-len(levels) // 9)])
    axes.set_ylabel("success rate")
    axes.set_xlabel(f"{_place(cells)}, {cells[0].unit}")
    made.legend(loc="upper left", bbox_to_anchor=(0.1 / width, style.top(made) + 0.08 / height), frameon=False,
                ncols=3 if width > 7 else 1, fontsize=10.5, handlelength=1.8)
    return made


def _place(cells: Sequence[CellResult]) -> str:
    """The obstacle without its parameters."""
    return sentences.kind(cells[0].obstacle.partition(",")[0])


def title(cells: Sequence[CellResult]) -> str:
    """The largest difference that is shown, or that there is none."""
    shown = [c for c in cells if c.verdict is not None and c.verdict.shown]
    place = _place(cells)
    if not shown:
        return f"No difference shown on {place}" if any(c.verdict for c in cells) else f"How {place} gets harder"
    most = max(shown, key=lambda c: abs(c.verdict.difference.value) if c.verdict else 0.0)
    assert most.verdict is not None
    points = 100 * most.verdict.difference.value
    return f"{most.name}: {points:+.0f} points on {sentences.label(most)}"


def _strong(cells: Sequence[CellResult], names: Sequence[str]) -> set[str]:
    """The baseline and those that differ most from it."""
    if len(names) <= MOST:
        return set(names)
    most = {name: max((abs(c.verdict.difference.value) for c in cells if c.name == name and c.verdict), default=-1.0)
            for name in names[1:]}
    return {names[0], *sorted(most, key=lambda name: -most[name])[: MOST - 1]}
