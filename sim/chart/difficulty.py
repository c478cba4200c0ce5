"""Success rate against difficulty on one kind of obstacle: a curve per configuration with its intervals."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import counted
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
    strong = _strong(cells, names)
    bands = " and bands" if len(strong) <= BANDS else ""
    grey = f" Grey: {len(names) - len(strong)} more, less unlike the first." if len(names) > len(strong) else ""
    subtitle = f"{counted(cells)} trials a point; bars{bands}: 95 % Wilson interval.{grey} {assumed}"
    keys = [style.key(name, index) for index, name in enumerate(names) if name in strong]
    made = style.figure(width, 4.1 if width > 7 else 3.6, title(cells), subtitle, keys)
    axes = style.axes(made, grid="y")
    levels = sorted({cell.level for cell in cells})
    span = (levels[-1] - levels[0]) or 1.0
    for index, name in enumerate(names):
        own = sorted((c for c in cells if c.name == name and c.rate.trials), key=lambda c: c.level)
        seen = name in strong
        tone = style.colour(index) if seen else style.FAINT
        shift = 0.012 * span * (index - 0.5 * (len(strong) - 1)) if seen else 0.0
        x = [cell.level + shift for cell in own]
        curve = axes.plot(x, [100 * cell.rate.share for cell in own], color=tone, lw=2.0 if seen else 1.0, zorder=1)[0]
        style.note(made, curve, name, index)
        if not seen:
            continue
        low, high = ([100 * getattr(cell.rate, end) for cell in own] for end in ("low", "high"))
        if len(strong) <= BANDS and own:
            band = axes.fill_between(x, low, high, color=tone, alpha=0.12, lw=0, zorder=1)
            style.note(made, band, series=index)
        for at, cell in zip(x, own, strict=True):
            style.spot(axes, at, 100 * cell.rate.share, index, _told(cell), low=100 * cell.rate.low,
                       high=100 * cell.rate.high)
    axes.set_ylim(-3, 103)
    axes.set_yticks(range(0, 101, 20), [f"{v} %" for v in range(0, 101, 20)])
    most = 9 if width > 7 else 5
    axes.set_xticks(levels if len(levels) <= most else levels[:: -(-len(levels) // most)])
    axes.set_ylabel("success rate")
    axes.set_xlabel("\n".join(style.wrapped(f"{_place(cells)}, {style.unit_word(cells[0].unit)}", width - 1.2, 11.0)))
    return made


def _told(cell: CellResult) -> str:
    """Name, level, count, rate with interval, and the verdict."""
    text = f"{cell.name}, {sentences.level(cell.level, cell.unit)}: {cell.rate.successes} of {cell.rate.trials}, "
    text += sentences.share(cell)
    if cell.verdict is not None and cell.verdict.table.pairs:
        text += f"; against the baseline {sentences.difference(cell)} points: {cell.verdict.words}"
    return text


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
