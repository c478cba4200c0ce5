"""Many comparisons at once: which differences stand when all of them are read together.

Holm's step-down method keeps the chance of any false call among all comparisons at the stated level, whatever their
dependence. :func:`sim.compare.comparison.compare` adjusts every verdict of a store with it, so that terminal, page and
chart say the same. Source: Holm, Scand. J. Stat. 6 (1979) 65-70.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from statsmodels.stats.multitest import multipletests

from sim.statistics.paired import ERROR, Verdict


def holm(p: Sequence[float]) -> list[float]:
    """Adjusted p-values: a comparison stands at level a if its adjusted value is at most a."""
    if not len(p):
        return []
    return [float(x) for x in multipletests(np.asarray(p, dtype=float), method="holm")[1]]


def expected_false(verdicts: Sequence[Verdict]) -> float:
    """How many of these comparisons luck alone would call different, were each read by itself at 5 %."""
    return ERROR * len(verdicts)


def sentence(verdicts: Sequence[Verdict]) -> str:
    """How many comparisons there are, how many differences stand, what luck would do; empty for fewer than two."""
    if len(verdicts) < 2:
        return ""
    alone = sum(one.p <= ERROR for one in verdicts)
    stand = sum(one.shown for one in verdicts)
    said = (f"{len(verdicts)} comparisons are read together (Holm's method: at most 5 % for any false call in all): "
            f"{stand} show{'s' if stand == 1 else ''} a difference")
    if alone > stand:
        said += f", {alone - stand} more would by themselves"
    return f"{said}. Read one by one, luck alone would call about {expected_false(verdicts):.1f} of them different."
