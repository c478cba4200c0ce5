"""Many comparisons at once: which differences stand when all of them are read together.

Holm's step-down method keeps the chance of any false call among all comparisons at the stated level, whatever their
dependence. Source: Holm, Scand. J. Stat. 6 (1979) 65-70.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from statsmodels.stats.multitest import multipletests

from sim.compare.comparison import CellResult, Comparison


@dataclass(frozen=True)
class Adjusted:
    """One comparison, read among all."""

    cell: CellResult
    p: float
    """Exact McNemar p of the paired trials."""
    adjusted: float

    @property
    def alone(self) -> bool:
        """Whether its own 95 % interval leaves out zero."""
        return self.cell.verdict is not None and self.cell.verdict.word != "no difference shown"


def holm(p: Sequence[float]) -> list[float]:
    """Adjusted p-values: a comparison stands at level a if its adjusted value is at most a."""
    if not len(p):
        return []
    return [float(x) for x in multipletests(np.asarray(p, dtype=float), method="holm")[1]]


def adjusted(comparison: Comparison) -> tuple[Adjusted, ...]:
    """Every comparison with the baseline, in the comparison's order."""
    cells = [cell for cell in comparison.cells if cell.verdict is not None]
    raw = [cell.verdict.exact_p for cell in cells if cell.verdict is not None]
    return tuple(Adjusted(cell, p, q) for cell, p, q in zip(cells, raw, holm(raw), strict=True))


def sentence(found: Sequence[Adjusted], error: float = 0.05) -> str:
    """How many differences stand together, and which do not; empty for fewer than two comparisons."""
    if len(found) < 2:
        return ""
    alone = [one for one in found if one.alone]
    stand = [one for one in alone if one.adjusted <= error]
    said = f"Read together ({len(found)} comparisons, Holm's method, 5 % in all), {len(stand)} of the {len(alone)} " \
           f"difference{'s' if len(alone) != 1 else ''} shown still stand{'s' if len(stand) == 1 else ''}"
    fallen = [one for one in alone if one.adjusted > error]
    if not fallen:
        return said + "."
    names = ", ".join(f"{one.cell.name} on {one.cell.place} (p {one.adjusted:.2f})" for one in fallen[:4])
    return f"{said}; not so {names}{' and more' if len(fallen) > 4 else ''}."
