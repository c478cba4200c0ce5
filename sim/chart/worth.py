"""What each change is worth: alone and in company, beside its price and grams."""

from __future__ import annotations

import math

from matplotlib.figure import Figure

from sim.chart import style
from sim.decision.worth import Appraisal, Share

WIDTH = 10.0
_LEFT, _RIGHT = 0.255, 0.66
COLUMNS = (("price", 0.13), ("grams", 0.32), ("per money", 0.55), ("per 10 g", 0.77))


def worth(answer: Appraisal, title: str, assumed: str = "") -> Figure:
    """Draw gain alone (open mark) and in company (filled) with intervals, by gain per unit of money."""
    ranked = answer.ranked()
    orders = f"{answer.orders} sampled orders" if answer.orders else f"all {answer.coalitions} combinations"
    subtitle = (f"Gain over the mix. Filled: mean share in the company of the others (Shapley value, {orders}); open: "
                f"alone on the truck as it is. {answer.found.n} repeats, same luck; intervals hold together with 95 %. "
                f"{assumed}")
    names = style.lines_of((share.name for share in ranked), _LEFT * WIDTH - 0.25)
    row = max(0.55, style.tallest(names) + 0.1)
    made = style.figure(WIDTH, 1.25 + row * len(ranked), title, subtitle)
    axes = style.axes(made, _LEFT * WIDTH, (1.0 - _RIGHT) * WIDTH, 0.62, 0.55)
    axes.axvline(0.0, color=style.INK, lw=1.0, zorder=1)
    for row, share in enumerate(ranked):
        for k, (gain, mark) in enumerate(((share.together, "o"), (share.alone, "s"))):
            y = row + (-0.13, 0.17)[k]
            colour = style.colour(k)
            axes.plot([gain.low, gain.high], [y, y], color=colour, lw=2.2, solid_capstyle="butt", zorder=2)
            fill = colour if k == 0 else style.PAPER
            axes.plot(gain.value, y, mark, color=fill, mec=colour, mew=1.6, ms=7.5, zorder=3)
        for text, (_, x) in zip(_numbers(share, answer), COLUMNS, strict=True):
            axes.text(1.0 + x, row, text, transform=axes.get_yaxis_transform(), ha="right", va="center",
                      fontsize=style.SMALL)
    heads = (answer.currency or "price", "g", f"points per {answer.currency or 'money'}", "points per 10 g")
    for head, (_, x) in zip(heads, COLUMNS, strict=True):
        axes.text(1.0 + x, -0.62, head.replace(" per ", "\nper "), transform=axes.get_yaxis_transform(), ha="right",
                  va="bottom", fontsize=style.SMALL, color=style.QUIET)
    axes.set_yticks(range(len(ranked)), names)
    axes.set_ylim(len(ranked) - 0.5, -0.55)
    axes.set_xlabel("gain over the mix, points")
    return made


def _numbers(share: Share, answer: Appraisal) -> tuple[str, str, str, str]:
    price = "?" if share.price is None else "free" if share.price == 0.0 else f"{share.price:g}"
    ratio = share.per_money
    money = "–" if math.isnan(ratio) else "free" if math.isinf(ratio) else f"{ratio:.2f}"
    gram = share.per_gram
    return price, f"{share.grams:+.1f}", money, "–" if math.isnan(gram) else f"{10.0 * gram:.1f}"
