"""How tip-over margins spread over trials: every trial a dot, with the quartiles; what went over beside the axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.chart import style
from sim.chart.rows import Rows
from sim.compare.comparison import CellResult, Comparison

OVER, STRIP = -15.0, 8.0
"""deg; trials whose margin fell below went over, how far does not matter: they stand in a strip of their own."""


def margin_spread(comparison: Comparison, margins: Sequence[tuple[CellResult, NDArray[np.float64]]],
                  assumed: str = "") -> Figure:
    """Draw the smallest tip-over margin (deg) of every trial of every cell.

    ``margins`` are the cells of the comparison with their trials' margins, (n,) deg.
    """
    n = style.counted([len(values) for _, values in margins])
    subtitle = (f"Every dot a trial ({n} a row); bar: middle half, mark: median. 0° is tipping; trials that went over "
                f"are one group beside the axis, however far they fell. {assumed}")
    rows = Rows(comparison, "How close every single trial came to tipping", subtitle)
    spots = {id(cell): (y, index) for cell, y, index in rows.spots()}
    rng = np.random.default_rng(0)
    jolt = min(0.09, 0.3 / len(rows.names))  # dots stay in their own row
    for cell, values in margins:
        if id(cell) not in spots or not len(values):
            continue
        y, index = spots[id(cell)]
        drawn = np.where(values < OVER, OVER - rng.uniform(0.25, 0.85, len(values)) * STRIP, values)
        tone = style.colour(index)
        rows.axes.plot(drawn, y + rng.uniform(-jolt, jolt, len(values)), ".", color=tone, ms=7, mec="none", zorder=2)
        low, middle, high = np.maximum(np.percentile(values, [25, 50, 75]), OVER - 0.5 * STRIP)
        rows.axes.plot([low, high], [y, y], color=tone, lw=3.2, solid_capstyle="butt", zorder=3)
        rows.axes.plot(middle, y, style.mark(index), color=tone, ms=6, mec="white", zorder=4)
        over = int(np.sum(values < OVER))
        rows.remark(f"{over}/{len(values)} over", y, strong=over > 0)
    rows.axes.axvline(0.0, color=style.INK, lw=1.2, zorder=1)
    over_axis(rows.axes)
    rows.axes.set_xlabel("smallest tip-over margin of a trial, degrees")
    return rows.figure


def over_axis(axes: style.Axes) -> None:
    """A strip beside a margin axis (deg) for what went over, and ticks that say so."""
    high = axes.get_xlim()[1]
    axes.axvspan(OVER - STRIP, OVER, color=style.FAILED, alpha=0.10, lw=0, zorder=0)
    axes.set_xlim(OVER - STRIP, max(high, 5.0))
    ticks = [tick for tick in axes.get_xticks() if OVER + 4.0 < tick <= high]
    axes.set_xticks([OVER - 0.5 * STRIP, *ticks], ["over", *(f"{tick:g}°" for tick in ticks)])
