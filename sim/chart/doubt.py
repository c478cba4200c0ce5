"""Which unknown a verdict hangs on."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.decision.doubt import Doubt, Influence

WIDTH = 10.0


def doubt(answer: Doubt, title: str, stated: bool, assumed: str = "") -> Figure:
    """Draw how strongly each unknown acts on the difference (left) and the difference in every run (right)."""
    unit = "points" if stated else "log-%"
    rows = len(answer.influences)
    subtitle = (f"Left: mean size of the effect over the unknown's whole range, with 95 % interval, {answer.runs} "
                f"runs; right: the difference in every run; beyond the black line it is the other way. {assumed}")
    names = style.lines_of((f"{one.unknown.name}, {_span(one)}" for one in answer.influences), 0.27 * WIDTH - 0.25)
    made = style.figure(WIDTH, 0.9 + max(0.5, style.tallest(names) + 0.1) * rows, title, subtitle)
    height = made.get_figheight()
    bottom, top = 0.62 / height, style.top(made)
    axes = made.add_axes((0.27, bottom, 0.33, top - bottom))
    style.frame(axes)
    for row, one in enumerate(answer.influences):
        colour = style.COLOURS[1] if one.flips_at is not None else style.COLOURS[0]
        low, high = max(0.0, one.strength - one.strength_error), one.strength + one.strength_error
        axes.plot([low, high], [row, row], color=colour, lw=2.2, solid_capstyle="butt")
        axes.plot(one.strength, row, "s" if one.flips_at is not None else "o", color=colour, ms=8, mec="white")
        if one.flips_at is not None:
            axes.text(high, row - 0.22, f" flips near {one.flips_at:+.2g}", fontsize=style.SMALL, color=colour,
                      va="center")
    axes.set_yticks(range(rows), names)
    axes.set_ylim(rows - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(f"effect on the difference, {unit}")
    runs = made.add_axes((0.68, bottom, 0.28, top - bottom))
    style.frame(runs, grid="x")
    order = sorted(float(s) for s in answer.scores)
    runs.axvline(0.0, color=style.INK, lw=1.2)
    colours = [style.COLOURS[1] if s * answer.nominal < 0.0 else style.COLOURS[0] for s in order]
    runs.scatter(order, range(len(order)), c=colours, s=30, zorder=3)
    runs.axvline(answer.nominal, color=style.QUIET, ls=":", lw=1.4)
    runs.set_yticks([])
    runs.set_xlabel(f"difference, {unit} (dotted: as on the sheet)")
    return made


def _span(one: Influence) -> str:
    unknown = one.unknown
    return f"{unknown.low:+g} to {unknown.high:+g} {unknown.unit}" if unknown.low < 0 else unknown.unit
