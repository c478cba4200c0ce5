"""How tip-over margins spread over trials: every trial a dot, with the quartiles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.chart import style
from sim.chart.rows import Rows
from sim.compare.comparison import CellResult, Comparison

OVER = -40.0
"""deg; margins below are drawn here: the truck went over, how far does not matter."""


def margin_spread(comparison: Comparison, margins: Sequence[tuple[CellResult, NDArray[np.float64]]],
                  assumed: str = "") -> Figure:
    """Draw the smallest tip-over margin (deg) of every trial of every cell.

    ``margins`` are the cells of the comparison with their trials' margins, (n,) deg.
    """
    counts = [len(values) for _, values in margins]
    n = f"n = {min(counts)}" if min(counts) == max(counts) else f"n = {min(counts)} to {max(counts)}"
    subtitle = (f"Every dot a trial ({n} a row); bar: middle half, mark: median. 0° is tipping; a truck that went over "
                f"stands at {OVER:g}° or where it came to rest. {assumed}")
    rows = Rows(comparison, "How close every single trial came to tipping", subtitle)
    spots = {id(cell): (y, index) for cell, y, index in rows.spots()}
    rng = np.random.default_rng(0)
    jolt = min(0.09, 0.3 / len(rows.names))  # dots stay in their own row
    for cell, values in margins:
        if id(cell) not in spots or not len(values):
            continue
        y, index = spots[id(cell)]
        values = np.maximum(values, OVER)
        jitter = y + rng.uniform(-jolt, jolt, len(values))
        rows.axes.plot(values, jitter, ".", color=style.colour(index), ms=7, alpha=0.5, mec="none", zorder=2)
        low, middle, high = np.percentile(values, [25, 50, 75])
        rows.axes.plot([low, high], [y, y], color=style.colour(index), lw=3.2, solid_capstyle="butt", zorder=3)
        rows.axes.plot(middle, y, style.mark(index), color=style.colour(index), ms=6, mec="white", zorder=4)
        over = int(np.sum(values < 0.0))
        rows.remark(f"{over}/{len(values)} below 0°", y, strong=over > 0)
    rows.axes.axvline(0.0, color=style.INK, lw=1.2, zorder=1)
    rows.axes.set_xlim(left=OVER - 2.0)
    rows.axes.set_xlabel("smallest tip-over margin of a trial, degrees")
    return rows.figure
