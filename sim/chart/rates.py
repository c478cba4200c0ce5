"""Success rates with their intervals."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import Rows, counted
from sim.compare.comparison import Comparison
from sim.compare.sentences import finding, label, share


def rates(comparison: Comparison, assumed: str = "") -> Figure:
    """Draw success rate (percent) and 95 % Wilson interval of every cell, with the verdict at the row's end."""
    subtitle = (
        f"{counted(comparison.cells)} simulated trials a point, every truck met the same luck; "
        f"bars: 95 % Wilson interval. {assumed}"
    )
    rows = Rows(comparison, finding(comparison), subtitle)
    for cell, y, index in rows.spots():
        rate = cell.rate
        if not rate.trials:
            rows.remark("no valid trial", y, strong=True)
            continue
        style.spot(rows.axes, 100 * rate.share, y, index, f"{cell.name} on {label(cell)}: {share(cell)}",
                   low=100 * rate.low, high=100 * rate.high, upright=False)
        shown = cell.verdict is not None and cell.verdict.shown
        word = f"  {cell.verdict.word}" if shown and cell.verdict is not None else ""
        rows.remark(f"{rate.successes}/{rate.trials}{word}", y, strong=shown)
    rows.axes.set_xlim(-1.5, 101.5)
    rows.axes.set_xticks(range(0, 101, 20), [f"{x} %" for x in range(0, 101, 20)])
    rows.axes.set_xlabel("success rate")
    return rows.figure
