"""Pictures of predicted against observed: calibration, and what the attempts taught."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from sim.chart import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from sim.reality.verdict import Outlook, Reality


def _whose(found: Reality) -> str:
    return "Simulated attempts of an invented scenario. " if any(o.tried.simulated for o in found.outlooks) else ""


def calibration_chart(found: Reality) -> Figure:
    """Seen against predicted: every line, and the calibration curve in bins, before and after learning."""
    tries = sum(o.tried.tries for o in found.outlooks)
    g = found.gap
    span = f"{round(100 * g.value) + 0:+d} points ({100 * g.low:+.0f} to {100 * g.high:+.0f})"
    title = f"Real tries went {span} against the simulation"
    if not found.enough:
        title = f"Too few tries to conclude: {title[0].lower()}{title[1:]}"
    lines = len({o.tried.line for o in found.outlooks})
    made = style.figure(9.6, 4.8, title, f"{_whose(found)}{tries} tries on {lines} lines; bars are 95 % intervals. "
                        "Points on the diagonal are forecasts that came true.")
    top = style.top(made)
    panels = (("as simulated", found.curve, [o.predicted for o in found.outlooks]),
              ("learned from the other lines", found.learned_curve, [o.honest[0] for o in found.outlooks]))
    for index, (name, curve, forecasts) in enumerate(panels):
        axes = made.add_axes((0.085 + 0.485 * index, 0.13, 0.41, top - 0.13 - 0.1))
        style.frame(axes, grid="both")
        axes.plot([0, 1], [0, 1], color=style.QUIET, lw=1.0, ls="--")
        seen = [o.tried.successes / o.tried.tries for o in found.outlooks]
        sizes = [16 + 5 * o.tried.tries for o in found.outlooks]
        axes.scatter(forecasts, seen, s=sizes, facecolors="none", edgecolors=style.QUIET, lw=1.0)
        for point in curve:
            axes.plot([point.forecast] * 2, [point.seen.low, point.seen.high], color=style.colour(index), lw=2.2)
            axes.plot(point.forecast, point.seen.share, style.mark(index), color=style.colour(index), ms=9, mec="white")
        axes.set_xlim(-0.03, 1.03)
        axes.set_ylim(-0.03, 1.03)
        ticks = np.linspace(0, 1, 6)
        axes.set_xticks(ticks, [f"{100 * t:.0f} %" for t in ticks])
        axes.set_yticks(ticks, [f"{100 * t:.0f} %" for t in ticks] if index == 0 else [""] * len(ticks))
        grade = found.grades[index]
        axes.set_title(f"{name}\nBrier {grade.brier.score:.3f}, log score {grade.log_score:.3f}", fontsize=style.SMALL)
        axes.set_xlabel("predicted success")
        if index == 0:
            axes.set_ylabel("seen (circles: single lines)")
    return made


def learning_chart(found: Reality) -> Figure:
    """What the tries say of grip and skill, and each line before and after."""
    surface = max(found.posterior.surfaces, key=lambda s: found.posterior.grip[s].learned)
    grip = found.posterior.grip[surface]
    low, high = (math.exp(x) for x in grip.interval())
    shown = [*found.outlooks, *found.ahead]
    title = f"Grip on {surface} is {math.exp(grip.mean):.2f} times the sheet's ({low:.2f} to {high:.2f})"
    if grip.learned < 0.25:
        title = f"The tries say little about grip on {surface}"
    names = style.lines_of(map(_name, shown), 2.35)
    keys = [style.key("as simulated", 1, marker=style.mark(3), lw=0),
            style.Key("tried", {"color": style.INK, "marker": "|", "ms": 11, "mew": 2.2, "lw": 2.2}),
            style.key("learned from the other lines", 0)]
    row = max(0.42, style.tallest(names) + 0.08)
    made = style.figure(10.4, max(4.0, 1.0 + row * len(shown)), title, f"{_whose(found)}Left: grip and driver skill "
                        "after the tries (50, 80 and 95 % of the weight). Right: each line as simulated, as tried, as "
                        "learned from the other lines.", keys)
    height, top = made.get_figheight(), style.top(made)
    tall = min(3.3 / height, top - 0.7 / height)
    _plane(made.add_axes((0.075, top - 0.08 / height - tall, 0.25, tall)), found, surface)
    axes = style.axes(made, 6.24, 0.3)
    for row, o in enumerate(shown):
        axes.plot([100 * o.honest[1], 100 * o.honest[2]], [row + 0.22] * 2, color=style.colour(0), lw=2.2)
        axes.plot(100 * o.honest[0], row + 0.22, style.mark(0), color=style.colour(0), ms=7, mec="white")
        if o.tried.tries:
            rate = o.tried.rate
            axes.plot([100 * rate.low, 100 * rate.high], [row, row], color=style.INK, lw=2.2)
            axes.plot(100 * rate.share, row, "|", color=style.INK, ms=11, mew=2.2)
        axes.plot(100 * o.predicted, row - 0.22, style.mark(3), color=style.colour(1), ms=8, mec="white")
    axes.set_yticks(range(len(shown)), names)
    axes.set_ylim(len(shown) - 0.5, -0.5)
    axes.set_xlim(-2, 102)
    axes.set_xticks(range(0, 101, 25), [f"{x} %" for x in range(0, 101, 25)])
    return made


def _plane(axes: Axes, found: Reality, surface: str) -> None:
    posterior = found.posterior
    weight = posterior.joint(surface)
    order = np.sort(weight.ravel())[::-1]
    total = np.cumsum(order)
    last = len(order) - 1
    levels = sorted({float(order[min(int(np.searchsorted(total, share)), last)]) for share in (0.95, 0.8, 0.5)})
    style.frame(axes, grid="both")
    grips = np.exp(posterior.log_grip)
    axes.contourf(grips, posterior.skill, weight.T, levels=[*levels, float(weight.max()) * 1.001],
                  colors=["#cfe3f1", "#8cbfe0", "#3a8ac0"][-len(levels):])
    axes.contour(grips, posterior.skill, weight.T, levels=levels, colors=style.INK, linewidths=0.7)
    axes.axvline(1.0, color=style.QUIET, lw=0.9, ls="--")
    axes.axhline(0.0, color=style.QUIET, lw=0.9, ls="--")
    axes.set_xlabel("grip over the sheet's")
    axes.set_ylabel("skill against the simulated driver (log odds)")


def _name(o: Outlook) -> str:
    return f"{o.tried.line}, {o.tried.configuration}"
