"""Pictures of the bench: what each lift says about the height, and what a fit moved."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from models.spec import LOOSE_PART
from sim.chart import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from models.bench.reconcile import Moved
    from models.bench.session import Reconciled, WeighingResult


def lift_chart(found: WeighingResult) -> Figure:
    """Height of the centre of gravity by each lift against its angle, with the height from all together."""
    height = found.balance.results["height"].times(1e3)
    disagree = [f for f in found.findings if f.kind in ("trend", "hysteresis", "ends") and f.serious]
    title = f"CG height {height.value:.1f} mm, between {height.low:.1f} and {height.high:.1f} mm"
    if disagree:
        title += f", but the lifts disagree ({', '.join(f.kind for f in disagree)})"
    lifts = found.balance.lift_heights
    simulated = "Simulated readings. " if found.readings.simulated else ""
    locked = "locked" if found.weighing.locked else "free: its expected lean is taken off"
    kinds = sorted({(on, going) for _, _, on, going in lifts})
    keys = [style.key(f"{'rear' if on == 'front' else 'front'} raised, going {going}", n,
                      mfc="white" if going == "down" else style.colour(n), mec=style.colour(n))
            for n, (on, going) in enumerate(kinds)]
    made = style.figure(8.4, 3.9, title, f"{simulated}{len(lifts)} lifts, each with its own 95 % interval; suspension "
                        f"{locked}. A rigid truck gives the same at every angle.", keys)
    axes = style.axes(made, grid="y")
    axes.axhspan(height.low, height.high, color=style.QUIET, alpha=0.18, lw=0)
    axes.axhline(height.value, color=style.INK, lw=1.2)
    for index, (on, going) in enumerate(kinds):
        some = [(math.degrees(a) + 0.35 * (index - (len(kinds) - 1) / 2), h.times(1e3)) for a, h, o, g in lifts
                if (o, g) == (on, going)]
        x = [a for a, _ in some]
        arms = [[h.value - h.low for _, h in some], [h.high - h.value for _, h in some]]
        axes.errorbar(x, [h.value for _, h in some], arms, fmt=style.mark(index),
                      color=style.colour(index), ms=7, lw=1.6, capsize=3,
                      mfc="white" if going == "down" else style.colour(index))
    axes.set_xlabel("lift angle (deg)")
    axes.set_ylabel("height over the ground (mm)")
    return made


def moved_chart(done: Reconciled) -> Figure:
    """What a fit moved most, in units of how far each value was in doubt."""
    moved = sorted((m for m in done.fit.moved if abs(m.pull) > 0.05), key=lambda m: -abs(m.pull))
    fitted = [m for m in moved if not (m.unknown.part in done.fit.weighed and m.unknown.key[2] == "mass")][:14]
    scale = done.fit.scale_g
    title = f"{done.sheet.name}: {done.fit.unaccounted_g:.1f} g unaccounted" + (
        f" of {scale:.0f} g on the scale" if scale is not None else ""
    )
    named = [m for m in fitted if m.unknown.part != LOOSE_PART]
    if named:
        title += f"; of the parts, {_name(named[0])} moved most"
    simulated = "Simulated readings. " if done.weighed is not None and done.weighed.readings.simulated else ""
    rows = max(len(fitted), 1)
    names = style.lines_of(map(_name, fitted), 0.36 * 8.4 - 0.25)
    row = max(0.34, style.tallest(names) + 0.08)
    made = style.figure(8.4, 0.8 + row * rows, title, f"{simulated}Grey: 95 % before the readings; bar: "
                        "95 % after, dot the fitted value; in multiples of the doubt before. 0 is what the sheet said.")
    axes = style.axes(made, 0.36 * 8.4, 0.2 * 8.4, 0.58)
    for row, m in enumerate(fitted):
        after = 1.96 * m.doubt_after / m.doubt_before
        middle = (m.unknown.shown(m.unknown.value) - m.before) / m.doubt_before
        axes.plot([middle - 1.96, middle + 1.96], [row, row], color=style.GRID, lw=9, solid_capstyle="butt")
        axes.plot([m.pull - after, m.pull + after], [row, row], color=style.colour(0), lw=2.4)
        axes.plot(m.pull, row, "o", color=style.colour(0), mec="white", ms=8)
        axes.text(1.03, row, f"{m.before:.1f} → {m.after:.1f} {m.unknown.unit}", va="center", fontsize=style.SMALL,
                  transform=axes.get_yaxis_transform())
    axes.axvline(0.0, color=style.QUIET, lw=0.9)
    axes.set_yticks(range(len(fitted)), names)
    axes.set_ylim(len(fitted) - 0.4, -0.6)
    axes.set_xlim(-3.3, 3.3)
    axes.set_xlabel("moved by (standard deviations of the doubt before)")
    return made


def _name(moved: Moved) -> str:
    key = moved.unknown.key
    return " ".join(key[1:]) if key[0] == "parts" else f"all {key[0]}"
