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
    """deg, as it is shown (:attr:`sim.replay.clip.Clip.shown_margin`)."""
    outcome: str
    reason: str


def margin_time(traces: Sequence[MarginTrace], place: str, width: float = 5.6) -> Figure:
    """Draw margins (deg) over time (s), each with its ending."""
    subtitle = "One recorded trial each, met by the same luck: an example, not the statistics. 0° is tipping."
    keys = [style.key(f"{t.name}: {t.outcome}, {t.reason}", t.series, ls=DASHES[n % len(DASHES)])
            for n, t in enumerate(traces)]
    made = style.figure(width, 3.4, title(traces, place), subtitle, keys)
    axes = style.axes(made, grid="y")
    low = min(float(np.nanmin(t.margin)) for t in traces)
    high = max(float(np.nanmax(t.margin)) for t in traces)
    axes.axhspan(min(low, 0.0) - 4.0, 0.0, color=style.FAILED, alpha=0.10, lw=0)
    axes.axhline(0.0, color=style.INK, lw=1.2)
    for n, t in enumerate(traces):
        tone, told = style.colour(t.series), f"{t.name}: {t.outcome}, {t.reason}"
        curve = axes.plot(t.time, t.margin, color=tone, lw=1.8, ls=DASHES[n % len(DASHES)])[0]
        style.note(made, curve, told, t.series)
        style.spot(axes, float(t.time[-1]), float(t.margin[-1]), t.series, told, size=9.0)
    axes.set_ylim(min(low, 0.0) - 4.0, high + 4.0)
    axes.set_xlim(0.0, max(float(t.time[-1]) for t in traces) * 1.03)
    axes.set_xlabel("time, s")
    axes.set_ylabel("tip-over margin, °")
    return made


def title(traces: Sequence[MarginTrace], place: str) -> str:
    """Which of the trials came closest to tipping."""
    lowest = min(traces, key=lambda t: float(np.nanmin(t.margin)))
    at = float(lowest.time[int(np.nanargmin(lowest.margin))])
    least = float(np.nanmin(lowest.margin))
    if least < 0.0:
        return f"{lowest.name} goes over on {place} after {float(lowest.time[lowest.margin < 0.0][0]):.1f}\u00a0s"
    return f"Closest on {place}: {lowest.name}, {least:.0f}° left at {at:.1f}\u00a0s"
