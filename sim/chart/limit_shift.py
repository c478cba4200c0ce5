"""How far a limit moves: what the trials leave open about each truck's limit, as a distribution."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from sim.chart import style
from sim.compare.limits import Limit
from sim.compare.sentences import kind, level, shift

DRAWS = 6000
MOST = 8
"""Trucks on one picture: the first and those whose limits differ most from its own."""


def limit_shift(limits: Sequence[Limit], names: Sequence[str], width: float = 5.6) -> Figure:
    """Draw where each truck clears half of its trials: posterior as a hill, median and 95 % interval below it.

    :param limits: All of one obstacle and driver.
    :param names: Configurations in the order of their colours, the baseline first.
    :param width: Inches.
    """
    shown = _strong(limits)
    left = len(limits) - len(shown)
    counted = style.counted([one.trials for one in shown])
    subtitle = f"Level cleared half of the time; hill: what {counted} trials leave open, bar: 95 % credible interval"
    subtitle += ", open at an arrow."
    subtitle += f" {left} more trucks are in the table." if left else ""
    keys = [style.key(_said(one), names.index(one.name)) for one in shown]
    made = style.figure(width, 0.75 + 0.62 * len(shown), title(limits), subtitle, keys)
    axes = style.axes(made, 0.3, 0.3)
    rng = np.random.default_rng(0)
    for row, one in enumerate(shown):
        series, base = names.index(one.name), float(len(shown) - row)
        drawn = one.belief.sample(0.5, DRAWS, rng)
        drawn = drawn[np.isfinite(drawn)]
        if len(drawn):
            counts, edges = np.histogram(drawn, bins=40)
            hill = axes.fill_between(0.5 * (edges[1:] + edges[:-1]), base, base + 0.7 * counts / counts.max(), lw=0,
                                     color=style.colour(series), alpha=0.35)
            style.note(made, hill, _said(one), series)
        ends = [one.half.low, one.half.high]
        for k, (edge, mark) in enumerate(((np.min, "<"), (np.max, ">"))):
            if not np.isfinite(ends[k]):
                # The levels that were driven do not bound it on this side: as far as the hill goes, with an arrow.
                ends[k] = float(edge(drawn, initial=one.half.value))
                axes.plot(ends[k], base, mark, color=style.colour(series), ms=7, zorder=4)
        style.spot(axes, one.half.value, base, series, _said(one), low=ends[0], high=ends[1], upright=False)
    axes.set_yticks([])
    axes.set_ylim(0.6, len(shown) + 0.9)
    words = f"{kind(limits[0].obstacle)}, {style.unit_word(limits[0].unit)}"
    axes.set_xlabel("\n".join(style.wrapped(words, width - 0.8, 11.0)))
    return made


def title(limits: Sequence[Limit]) -> str:
    """The largest shift that is shown, or that there is none."""
    shown = [one for one in limits if one.difference is not None and one.word in ("better", "worse")]
    place, unit = kind(limits[0].obstacle), limits[0].unit
    if not shown:
        return f"No shift of the limit shown on {place}" if len(limits) > 1 else f"Where {limits[0].name} gives up"
    most = max(shown, key=lambda one: abs(one.difference.value) if one.difference else 0.0)
    assert most.difference is not None
    d = most.difference
    return f"{most.name} moves the limit on {place} by {'+' if d.value > 0 else ''}{level(round(d.value, 1), unit)}"


def _said(one: Limit) -> str:
    text = f"{one.name}: {level(float(f'{one.half.value:.3g}'), one.unit)}"
    if one.difference is None:
        return text
    return f"{text}, shift {shift(one.difference)}"


def _strong(limits: Sequence[Limit]) -> list[Limit]:
    base = [one for one in limits if one.difference is None]
    rest = [one for one in limits if one.difference is not None]
    rest.sort(key=lambda one: -abs(one.difference.value) if one.difference else 0.0)
    return [*base, *rest][:MOST]
