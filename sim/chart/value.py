"""What a change buys: success gained against grams and money."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import shortened
from sim.statistics.interval import Estimate


@dataclass(frozen=True)
class Worth:
    """One configuration against the baseline."""

    name: str
    series: int
    grams: float
    """More than the baseline weighs."""
    money: float | None
    """Price of its changes beyond the baseline's; None where one has no price or currencies differ."""
    currency: str
    gain: Estimate
    """Difference of success rates, pooled over all obstacles; share."""
    pairs: int


def value(worths: Sequence[Worth], baseline: str, width: float = 5.6) -> Figure:
    """Draw the gain in success (points) over added grams, and over price."""
    pairs = [w.pairs for w in worths]
    counted = f"n = {min(pairs)}" if min(pairs) == max(pairs) else f"n = {min(pairs)} to {max(pairs)}"
    subtitle = f"{counted} pairs of trials over all obstacles together; bars: 95 % interval of the paired difference."
    wide = width > 7
    made = style.figure(width, 4.8 if wide else 7.2, title(worths, baseline), subtitle, wrap=int(7.8 * width))
    height = made.get_figheight()
    foot, room = 0.62 / height, style.top(made) - 0.62 / height
    if wide:
        half = (1 - 1.25 / width) / 2
        boxes = [(0.72 / width, foot, half, room), (0.72 / width + half + 0.35 / width, foot, half, room)]
    else:
        each = (room - 0.55 / height) / 2
        left, across = 0.72 / width, 1 - 0.9 / width
        boxes = [(left, foot + each + 0.55 / height, across, each), (left, foot, across, each)]
    grams, money = (made.add_axes(box) for box in boxes)
    _scatter(grams, worths, lambda w: w.grams, "grams added")
    currency = next((w.currency for w in worths if w.money is not None), "")
    priced = [w for w in worths if w.money is not None]
    _scatter(money, priced, lambda w: w.money or 0.0, f"price, {currency}" if currency else "price")
    if not priced:
        money.text(0.5, 0.5, "no prices on the sheets", transform=money.transAxes, ha="center", color=style.QUIET)
    grams.set_ylabel("success gained, points")
    low, high = (min(g.get_ylim()[0] for g in (grams, money)), max(g.get_ylim()[1] for g in (grams, money)))
    for axes in (grams, money):
        axes.set_ylim(low, high)
    if wide:
        money.tick_params(labelleft=False)
    else:
        money.set_ylabel("success gained, points")
    return made


def title(worths: Sequence[Worth], baseline: str) -> str:
    """The surest gain, with what it costs."""
    sure = [w for w in worths if w.gain.low > 0]
    if not sure:
        return f"No change is shown to gain anything over {baseline}, all obstacles together"
    best = max(sure, key=lambda w: w.gain.low)
    cost = "" if best.money is None else f", {best.money:g} {best.currency}"
    return f"{best.name} gains {100 * best.gain.value:.0f} points for {best.grams:+.0f} g{cost}"


def _scatter(axes: Axes, worths: Sequence[Worth], of: Callable[[Worth], float], label: str) -> None:
    style.frame(axes, grid="y")
    axes.axhline(0.0, color=style.INK, lw=1.2)
    xs = [of(w) for w in worths]
    span = max([*xs, 0.0]) - min([*xs, 0.0]) or 1.0
    for w in worths:
        x, colour = of(w), style.colour(w.series)
        axes.vlines(x, 100 * w.gain.low, 100 * w.gain.high, color=colour, lw=2.2)
        axes.plot(x, 100 * w.gain.value, style.mark(w.series), color=colour, ms=9, mec="white", zorder=3)
        right = x < min([*xs, 0.0]) + 0.62 * span
        axes.annotate(shortened(w.name), (x, 100 * w.gain.value), xytext=(8 if right else -8, 5),
                      textcoords="offset points", fontsize=9.5, ha="left" if right else "right")
    axes.set_xlim(min([*xs, 0.0]) - 0.12 * span, max([*xs, 0.0]) + 0.12 * span)
    axes.set_xlabel(label)
