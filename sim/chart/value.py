"""What a change buys: success gained against grams and money."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sim.chart import style
from sim.statistics.interval import Estimate

LEAST_GRAMS = 0.5
"""Spread of the grams below which an axis of grams says nothing."""


@dataclass(frozen=True)
class ValueMark:
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


def value(gains: Sequence[ValueMark], baseline: str, width: float = 5.6) -> Figure | None:
    """Draw the gain in success (points) over added grams, and over price; None where neither axis has sense.

    An axis has sense where at least two changes differ along it; else :func:`sentences` says it all.
    """
    panels = _panels(gains)
    if not panels:
        return None
    counted, unpriced = style.counted([g.pairs for g in gains]), sum(g.money is None for g in gains)
    subtitle = (f"{counted} pairs of trials over all obstacles together; bars: 95 % interval of the paired difference."
                + (f" {unpriced} without a price stand on the grams only." if unpriced else ""))
    wide = width > 7
    each, keys = 3.3 if wide else 2.9, [style.key(g.name, g.series) for g in gains]
    made = style.figure(width, each if wide else each * len(panels), title(gains, baseline), subtitle, keys)
    height, top = made.get_figheight(), style.top(made)
    across = (width - 1.0) / len(panels) if wide else width - 1.0
    drawn = []
    for n, (words, shown, of) in enumerate(panels):
        left = 0.84 + (n * across if wide else 0.0)
        bottom = 0.62 if wide else top * height - (n + 1) * each + 0.62
        axes = made.add_axes((left / width, bottom / height, (across - (0.3 if wide else 0)) / width,
                              (each - 0.74) / height))
        style.frame(axes, grid="y")
        _scatter(axes, shown, of)
        axes.set_xlabel(words)
        if n == 0 or not wide:
            axes.set_ylabel("success gained, points")
        drawn.append(axes)
    low, high = min(a.get_ylim()[0] for a in drawn), max(a.get_ylim()[1] for a in drawn)
    for axes in drawn:
        axes.set_ylim(low, high)
    return made


Panel = tuple[str, list[ValueMark], Callable[[ValueMark], float]]


def _panels(gains: Sequence[ValueMark]) -> list[Panel]:
    priced = [g for g in gains if g.money is not None]
    found: list[Panel] = []
    grams, money = [g.grams for g in gains], [g.money or 0.0 for g in priced]
    if len(gains) > 1 and max(grams) - min(grams) >= LEAST_GRAMS:
        found.append(("grams added", list(gains), lambda g: g.grams))
    if len(priced) > 1 and max(money) > min(money):
        found.append((f"price, {priced[0].currency}", priced, lambda g: g.money or 0.0))
    return found


def sentences(gains: Sequence[ValueMark]) -> list[str]:
    """Every gain with its interval and what it costs, one sentence each, the largest first."""
    return [f"{g.name} gains {100 * g.gain.value:+.0f} points ({100 * g.gain.low:+.0f} to {100 * g.gain.high:+.0f}) "
            f"and {cost(g)}." for g in sorted(gains, key=lambda g: -g.gain.value)]


def cost(gain: ValueMark) -> str:
    """What it costs, or saves, in grams and money."""
    money = "no price on the sheet" if gain.money is None else (
        "no money" if gain.money == 0 else f"{gain.money:g} {gain.currency}")
    if gain.grams <= -LEAST_GRAMS:
        return f"saves {-gain.grams:.1f} g and costs {money}"
    grams = "no grams" if gain.grams < LEAST_GRAMS else f"{gain.grams:.1f} g"
    return f"costs {grams} and {money}"


def title(gains: Sequence[ValueMark], baseline: str) -> str:
    """The surest gain, with what it costs."""
    sure = [g for g in gains if g.gain.low > 0]
    if not sure:
        return f"No change is shown to gain anything over {baseline}, all obstacles together"
    best = max(sure, key=lambda g: g.gain.low)
    cost = "" if best.money is None else f", {best.money:g} {best.currency}".rstrip()
    return f"{best.name} gains {100 * best.gain.value:.0f} points for {best.grams:+.0f} g{cost}"


def _scatter(axes: Axes, gains: Sequence[ValueMark], of: Callable[[ValueMark], float]) -> None:
    axes.axhline(0.0, color=style.INK, lw=1.2)
    xs = [of(g) for g in gains]
    span = max([*xs, 0.0]) - min([*xs, 0.0]) or 1.0
    # What costs the same stands side by side: nothing hides behind another mark.
    for n, g in enumerate(gains):
        same = [k for k, x in enumerate(xs) if abs(x - xs[n]) < 0.03 * span]
        x = xs[n] + 0.02 * span * (same.index(n) - 0.5 * (len(same) - 1))
        said = sentences([g])[0]
        style.spot(axes, x, 100 * g.gain.value, g.series, said, low=100 * g.gain.low, high=100 * g.gain.high)
    axes.set_xlim(min([*xs, 0.0]) - 0.14 * span, max([*xs, 0.0]) + 0.14 * span)
