"""Gain against money: every set that was driven, and the sets that no cheaper one beats."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.chart.rows import shortened
from sim.decision.budget import Bought, Budget

WIDTH = 11.0


def budget(answer: Budget, title: str, assumed: str = "") -> Figure:
    """Draw gain (percent or points) with intervals over price; the front as steps, the buying order beside it."""
    unit = "points" if answer.found.stated else "%"
    subtitle = (f"{len(answer.sets)} sets driven, {answer.found.n} repeats with the same luck, intervals hold together "
                f"with 95 %; {len(answer.choice.masks)} allowed sets searched. Steps: no cheaper set is worth as much; "
                f"hollow: not driven, from the fitted model. {assumed}")
    made = style.figure(WIDTH, 6.4, title, subtitle)
    height = made.get_figheight()
    axes = made.add_axes((0.8 / WIDTH, 0.68 / height, 0.53, style.top(made) - 0.68 / height))
    style.frame(axes, grid="both")
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
    axes.set_ylabel(f"gain over the mix, {unit}")
    _legend(made, answer)
    return made


def _legend(made: Figure, answer: Budget) -> None:
    height = made.get_figheight()
    x, y = 0.635, style.top(made) - 0.08 / height
    unit = "points" if answer.found.stated else "%"

    def write(text: str, strong: bool = False, colour: str = style.INK) -> None:
        nonlocal y
        made.text(x, y, text, fontsize=10, va="top", weight="bold" if strong else "normal", color=colour)
        y -= 0.235 / height

    write("buy in this order", strong=True)
    for number, step in enumerate(answer.order, start=1):
        price = f"{step.price:g}" if step.price else "free"
        write(f"{number}. {shortened(step.name)} ({price}): {step.total.value:+.0f} {unit} so far")
    if not answer.order:
        write("nothing: no set brings a gain")
    y -= 0.12 / height
    ties = [one for one in answer.ties if one.mask]
    if ties:
        write("cannot be told apart from it (price, gain)", strong=True, colour=style.COLOURS[5])
        for one in ties[:6]:
            write(_against(one, answer, unit))
        if len(ties) > 6:
            write(f"… and {len(ties) - 6} more")


def _against(one: Bought, answer: Budget, unit: str) -> str:
    """A set by what it has more and less than the best one."""
    names = answer.choice.drawer.names
    more = [f"+ {shortened(names[k])}" for k in range(len(names)) if one.mask & ~answer.best.mask & 1 << k]
    less = [f"− {shortened(names[k])}" for k in range(len(names)) if answer.best.mask & ~one.mask & 1 << k]
    return f"{one.money:g}: {one.gain.value:+.0f} {unit}  {shortened(' '.join([*more, *less]))}"
