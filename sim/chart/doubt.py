"""Which unknown a verdict hangs on."""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.chart import style
from sim.decision.doubt import Doubt

WIDTH = 10.0


def doubt(answer: Doubt, title: str, assumed: str = "") -> Figure:
    """Draw the gain with every unknown low, as on the sheet and high (left), and in every drawn case (right)."""
    rows = len(answer.influences)
    subtitle = (f"Left: gain with one unknown low (triangle down), as on the sheet (line), high (triangle up), 95 % "
                f"intervals; right: {len(answer.gains)} cases with all unknowns drawn. Black: the least gain worth "
                f"having. {assumed}")
    names = style.lines_of((f"{one.unknown.name}, {100 * one.share:.0f} %" for one in answer.influences),
                           0.27 * WIDTH - 0.25)
    made = style.figure(WIDTH, 1.3 + max(0.55, style.tallest(names) + 0.1) * rows, title, subtitle)
    height = made.get_figheight()
    bottom, top = 0.82 / height, style.top(made)
    axes = made.add_axes((0.27, bottom, 0.33, top - bottom))
    style.frame(axes)
    axes.axvline(answer.least, color=style.INK, lw=1.2)
    axes.axvline(answer.judgement.effect.gain.value, color=style.QUIET, lw=1.2, ls=":")
    for row, one in enumerate(answer.influences):
        colour = style.COLOURS[1] if one.flips is not None else style.COLOURS[0]
        for gain, mark, y in ((one.low, "v", row - 0.13), (one.high, "^", row + 0.13)):
            axes.plot([gain.low, gain.high], [y, y], color=colour, lw=2.0, solid_capstyle="butt")
            axes.plot(gain.value, y, mark, color=colour, ms=8, mec="white", zorder=3)
    axes.set_yticks(range(rows), names)
    axes.set_ylim(rows - 0.4, -0.6)
    axes.set_xlabel("gain over the mix, points\n(share of the variance beside the name)")
    cases = made.add_axes((0.68, bottom, 0.28, top - bottom))
    style.frame(cases, grid="x")
    order = sorted(float(g) for g in answer.gains)
    cases.axvline(answer.least, color=style.INK, lw=1.2)
    cases.axvline(answer.judgement.effect.gain.value, color=style.QUIET, ls=":", lw=1.4)
    colours = [style.COLOURS[0] if g > answer.least else style.COLOURS[1] for g in order]
    cases.scatter(order, range(len(order)), c=colours, s=30, zorder=3)
    cases.set_yticks([])
    cases.set_xlabel("gain, points\n(dotted: as on the sheet)")
    return made
