"""What a fit found, in words and rows: for the command's screen and for the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.bench.gain import widths
from models.bench.session import Reconciled

MOST_MOVES, MOST_NEXT = 14, 5
CHECKS = ("", "reading", "+- 95 %", "sheet before", "fitted")
MOVES = ("", "mark", "sheet", "now", "by", "+- before", "+- now")
NEXT = ("", "narrows", "+- now", "+- then")
Rows = Sequence[Sequence[str]]


@dataclass(frozen=True)
class Account:
    """A fit as it is told."""

    checks: Rows
    """Under :data:`CHECKS`."""
    totals: tuple[str, ...]
    """Sentences on what parts and scale sum to; none where the truck was not weighed."""
    moves: Rows
    """Under :data:`MOVES`, the largest first."""
    smaller: int
    """How many moves are not among them."""
    known: str
    following: Rows
    """What to measure next, under :data:`NEXT`."""
    caveat: str
    """On the table before; may be empty."""

    @property
    def moved(self) -> str:
        """Title of the moves."""
        one = self.smaller == 1
        return "What moved" + (f" ({self.smaller} smaller move{'' if one else 's'} not shown)" if self.smaller else "")


def account(done: Reconciled) -> Account:
    """Tell a fit."""
    f = done.fit
    checks = [(c.what, f"{c.reading:.2f} {c.unit}", f"{1.96 * c.uncertainty:.2f}", f"{c.before:.2f}", f"{c.after:.2f}")
              for c in f.checks]
    totals: tuple[str, ...] = ()
    if f.scale_g is not None:
        off = f.scale_g - f.parts_g
        totals = (
            f"Parts sum to {f.parts_g:.1f} g, the scale shows {f.scale_g:.1f} g: {off:+.1f} g "
            f"({100 * off / f.scale_g:+.1f} %). A few percent more on the scale is normal: wires, screws, glue.",
            f"The fit leaves {f.unaccounted_g:.1f} g as unaccounted; parts that nobody weighed take the rest.",
        )
    some = sorted((m for m in f.moved if abs(m.pull) > 0.15 or m.doubt_after < 0.8 * m.doubt_before),
                  key=lambda m: -abs(m.pull))
    moves = []
    for m in some[:MOST_MOVES]:
        what = " ".join(m.unknown.key[1:]) if m.unknown.part else f"all {m.unknown.key[0]}"
        weighed = m.unknown.part in f.weighed and m.unknown.key[2] == "mass"
        moves.append((what, "measured" if weighed else "fitted", f"{m.before:.2f}", f"{m.after:.2f} {m.unknown.unit}",
                      f"{m.after - m.before:+.2f}", f"{1.96 * m.doubt_before:.1f}", f"{1.96 * m.doubt_after:.1f}"))
    known = "; ".join(f"{name} {value:.1f} {unit} +- {width:.1f}" for name, unit, value, width in
                      widths(f, done.sheet.wheelbase_mm / 1e3))
    nearest = done.gains[:MOST_NEXT]
    return Account(
        checks, totals, moves, len(some) - len(moves),
        f"Now known (95 %): {known}. Tip angles allow for the give of springs and tyres, by a closed form.",
        [(g.what, g.target, f"{g.now:.2f} {g.unit}", f"{g.then:.2f}") for g in nearest],
        "Angles in this table leave aside how far the closed form itself may be off."
        if any(g.unit == "deg" for g in nearest) else "",
    )  # fmt: skip
