"""What each obstacle contributes to a change's gain: paired differences row by row."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import Rows
from sim.compare.comparison import Comparison
from sim.compare.sentences import difference, finding, label


def contribution(comparison: Comparison, assumed: str = "") -> Figure:
    """Draw the paired difference of success rates (points) of every configuration on every obstacle."""
    pairs = [cell.verdict.table.pairs for cell in comparison.cells if cell.verdict is not None]
    subtitle = (f"Difference to {comparison.baseline.name} with its 95 % interval, {style.counted(pairs)} pairs with "
                f"the same luck; all obstacles count alike in the whole. Hollow: could be luck. {assumed}")
    rows = Rows(comparison, finding(comparison), subtitle)
    for cell, y, index in rows.spots():
        if cell.verdict is None or not cell.verdict.table.pairs:
            continue
        d = cell.verdict.difference
        style.spot(rows.axes, 100 * d.value, y, index, f"{cell.name} on {label(cell)}: {difference(cell)} points",
                   low=100 * d.low, high=100 * d.high, upright=False, hollow=not cell.verdict.shown)
        rows.remark(f"{100 * d.value:+.0f}", y, strong=cell.verdict.shown)
    rows.axes.axvline(0.0, color=style.INK, lw=1.2, zorder=1)
    rows.axes.set_xlim(-102, 102)
    rows.axes.set_xticks(range(-100, 101, 50), [f"{x:+d}" if x else "0" for x in range(-100, 101, 50)])
    rows.axes.set_xlabel("points of success rate")
    return rows.figure
