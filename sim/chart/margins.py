"""How close the trucks came to tipping."""

from __future__ import annotations

import math

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import Rows, counted
from sim.compare.comparison import CellResult, Comparison
from sim.compare.sentences import label, over


def margins(comparison: Comparison, assumed: str = "") -> Figure:
    """Draw the smallest tip-over margin of a trial: median over trials with interval, and the fifth percentile."""
    subtitle = (
        f"Smallest tip-over margin in a trial (0° is tipping), {counted(comparison.cells)} trials a point; mark and "
        f"bar: median with its 95 % interval, tick: 5th percentile, of trials that did not go over; right: how many "
        f"did, and the paired median difference of the rest. {assumed}"
    )
    rows = Rows(comparison, title(comparison), subtitle)
    for cell, y, index in rows.spots():
        middle, low_end = cell.margin_median, cell.margin_p5
        rows.remark(", ".join(text for text in (over(cell), _difference(cell)) if text), y, strong=_shown(cell))
        if math.isnan(middle.value):
            continue
        low, high = (end if math.isfinite(end) else middle.value for end in (middle.low, middle.high))
        style.spot(rows.axes, middle.value, y, index, f"{cell.name} on {label(cell)}: {middle.value:.1f}°",
                   low=low, high=high, upright=False)
        rows.axes.plot(low_end.value, y, "|", color=style.colour(index), ms=11, mew=2.2, zorder=2)
        rows.axes.plot([low_end.value, low], [y, y], color=style.colour(index), lw=0.8, zorder=1)
    rows.axes.axvline(0, color=style.INK, lw=1.2, zorder=1)
    rows.axes.set_xlabel("smallest tip-over margin, degrees")
    return rows.figure


def title(comparison: Comparison) -> str:
    """The largest paired difference of margins that is shown, or that there is none."""
    shown = [cell for cell in comparison.cells if _shown(cell)]
    if not any(cell.margin_difference for cell in comparison.cells):
        return "How close the trucks came to tipping"
    if not shown:
        return f"No difference shown in how close the trucks came to tipping, against {comparison.baseline.name}"
    most = max(shown, key=lambda cell: abs(cell.margin_difference.value) if cell.margin_difference else 0.0)
    assert most.margin_difference is not None
    d = most.margin_difference
    word = "more" if d.value > 0 else "less"
    return (
        f"{most.name} keeps {abs(d.value):.1f}° {word} margin than {comparison.baseline.name} on {label(most)} "
        f"({d.low:+.1f}° to {d.high:+.1f}°)"
    )


def _shown(cell: CellResult) -> bool:
    d = cell.margin_difference
    return d is not None and (d.low > 0 or d.high < 0)


def _difference(cell: CellResult) -> str:
    d = cell.margin_difference
    return "" if d is None or math.isnan(d.value) else f"{d.value:+.1f}°"
