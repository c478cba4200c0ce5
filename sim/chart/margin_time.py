"""Tip-over margin over the time of recorded trials on one obstacle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.chart import style

DASHES = ("-", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))


@dataclass(frozen=True)
class MarginTrace:
    """One recorded trial."""

    name: str
    series: int
    """Number of its configuration: colour and mark."""
    time: NDArray[np.float64]
    """s."""
    margin: NDArray[np.float64]
    """deg."""
    outcome: str
    reason: str


def margin_time(traces: Sequence[MarginTrace], place: str, width: float = 5.6) -> Figure:
    """Draw margins (deg) over time (s), each with its ending."""
    subtitle = "One recorded trial each, met by the same luck: an example, not the statistics. 0° is tipping."
    made = style.figure(width, 4.3 if width > 7 else 4.5, title(traces, place), subtitle, wrap=int(7.8 * width))
    height = made.get_figheight()
    rows = len(traces)
    top = style.top(made) - (0.24 * rows + 0.06) / height
    axes = made.add_axes((0.8 / width, 0.62 / height, 1 - 1.0 / width, top - 0.62 / height))
    style.frame(axes, grid="y")
    low = min(float(np.nanmin(t.margin)) for t in traces)
    high = max(float(np.nanmax(t.margin)) for t in traces)
    axes.axhspan(min(low, 0.0) - 4.0, 0.0, color=style.FAILED, alpha=0.10, lw=0)
    axes.axhline(0.0, color=style.INK, lw=1.2)
    for n, t in enumerate(traces):
        axes.plot(t.time, t.margin, color=style.colour(t.series), lw=1.8, ls=DASHES[n % len(DASHES)],
                  label=_legend(t, int(8.2 * width)))
        axes.plot(t.time[-1], t.margin[-1], style.mark(t.series), color=style.colour(t.series), ms=9, mec="white")
    axes.set_ylim(min(low, 0.0) - 4.0, high + 4.0)
    axes.set_xlim(0.0, max(float(t.time[-1]) for t in traces) * 1.02)
    axes.set_xlabel("time, s")
    axes.set_ylabel("tip-over margin, °")
    made.legend(loc="upper left", bbox_to_anchor=(0.1 / width, style.top(made) + 0.08 / height), frameon=False,
                fontsize=10, handlelength=2.4)
    return made


def _legend(trace: MarginTrace, room: int) -> str:
    """Name and ending within ``room`` letters; the name gives way."""
    ending = f": {trace.outcome}, {trace.reason}"
    left = max(8, room - len(ending))
    return (trace.name if len(trace.name) <= left else trace.name[: left - 1] + "…") + ending


def title(traces: Sequence[MarginTrace], place: str) -> str:
    """Which of the trials came closest to tipping."""
    lowest = min(traces, key=lambda t: float(np.nanmin(t.margin)))
    at = float(lowest.time[int(np.nanargmin(lowest.margin))])
    least = float(np.nanmin(lowest.margin))
    if least < 0.0:
        return f"{lowest.name} goes over on {place} after {float(lowest.time[lowest.margin < 0.0][0]):.1f} s"
    return f"Closest on {place}: {lowest.name}, {least:.0f}° left at {at:.1f} s"
