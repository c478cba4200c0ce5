"""Gain against money: every set that was driven, and the sets that no cheaper one beats."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.decision.budget import Bought, Budget

WIDTH = 11.0
MOST_TIES = 6


def budget(answer: Budget, title: str, assumed: str = "") -> Figure:
    """Draw gain (percent or points) with intervals over price; the front as steps, the buying order beside it."""
    subtitle = (f"{len(answer.sets)} sets driven, {answer.found.n} repeats with the same luck, intervals hold together "
                f"with 95 %; {len(answer.choice.masks)} allowed sets searched. Steps: no cheaper set is worth as much; "
                f"hollow: not driven, from the fitted model. {assumed}")
    said = _said(answer)
    made = style.figure(WIDTH, max(4.8, style.LINE * style.SMALL / 72.0 * len(said) + 0.3), title, subtitle)
    axes = style.axes(made, 0.8, WIDTH - 0.8 - 0.53 * WIDTH, 0.68, grid="both")
    axes.axhline(0.0, color=style.INK, lw=1.0)
    for one in answer.sets:
        colour = style.COLOURS[0] if one.mask == answer.best.mask else style.COLOURS[5] if one.as_good else style.QUIET
        axes.vlines(one.money, one.gain.low, one.gain.high, color=colour, lw=1.8, alpha=0.8, zorder=2)
        mark = "D" if one.mask == answer.best.mask else "o" if one.as_good else "s"
        axes.plot(one.money, one.gain.value, mark, color=colour, ms=8, mec="white", zorder=3)
    front = answer.front
    x = [one.money for one in front] + [max(answer.choice.money_most, front[-1].money)]
    y = [one.gain.value for one in front] + [front[-1].gain.value]
    axes.step(x, y, where="post", color=style.COLOURS[1], lw=1.6, zorder=1)
    for one in front:
        if not one.driven and one.mask:
            axes.plot(one.money, one.gain.value, "s", color=style.PAPER, mec=style.COLOURS[1], ms=7, zorder=3)
    axes.axvline(answer.choice.money_most, color=style.QUIET, ls=":", lw=1.2)
    axes.set_xlabel(f"price of the set, {answer.choice.currency or 'money'} (dotted: the budget)")
    axes.set_ylabel("gain over the mix, points")
    _legend(made, said)
    return made


Said = tuple[str, bool, str]
"""A line of text, whether it is a heading, and its colour."""


def _said(answer: Budget) -> list[Said]:
    """The buying order, and the sets as good as the best, as lines that fit beside the chart."""
    room = WIDTH - 0.635 * WIDTH - 0.2
    out: list[Said] = [("buy in this order", True, style.INK)]

    def write(text: str) -> None:
        out.extend((line, False, style.INK) for line in style.wrapped(text, room))

    for number, step in enumerate(answer.order, start=1):
        price = f"{step.price:g}" if step.price else "free"
        write(f"{number}. {step.name} ({price}): {step.total.value:+.0f} points so far")
    if not answer.order:
        write("nothing: no set brings a gain")
    ties = [one for one in answer.ties if one.mask]
    if ties:
        head = style.wrapped("cannot be told apart from it (price, gain)", room, style.SMALL, True)
        out += [("", False, style.INK), *((line, True, style.COLOURS[5]) for line in head)]
        for one in ties[:MOST_TIES]:
            write(_against(one, answer))
        if len(ties) > MOST_TIES:
            write(f"and {len(ties) - MOST_TIES} more: see the table")
    return out


def _legend(made: Figure, said: list[Said]) -> None:
    height, step = made.get_figheight(), style.LINE * style.SMALL / 72.0
    for n, (text, strong, colour) in enumerate(said):
        made.text(0.635, style.top(made) - (0.08 + n * step) / height, text, fontsize=style.SMALL, va="top",
                  weight="bold" if strong else "normal", color=colour)


def _against(one: Bought, answer: Budget) -> str:
    """A set by what it has more and less than the best one."""
    names = answer.choice.drawer.names
    more = [f"+ {names[k]}" for k in range(len(names)) if one.mask & ~answer.best.mask & 1 << k]
    less = [f"− {names[k]}" for k in range(len(names)) if answer.best.mask & ~one.mask & 1 << k]
    return f"{one.money:g}: {one.gain.value:+.0f} points  {' '.join([*more, *less])}"
