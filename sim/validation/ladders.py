"""Limits read off a ladder of levels, held against trucks made up for it: credible intervals, shifts, two groups."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from sim.compare.limits import difference
from sim.compare.textbook import shifts
from sim.statistics.threshold import Belief
from sim.statistics.two_groups import two_groups
from sim.validation.check import Group, Measured, at_least

GROUP = Group("ladders", "Intervals of limits read off a ladder of levels")
Array = NDArray[np.float64]
LADDERS, MIXED = 300, 100
LEVELS = np.linspace(10.0, 60.0, 11)
EACH = 12
"""Trials a level."""
_UNIT, _FLOOR = "%", at_least(2.5, f"two standard errors of {LADDERS} simulated ladders")


def driven(rng: np.random.Generator, middle: float, spread: float) -> Belief:
    """What a ladder says of a logistic truck."""
    belief = Belief.start(float(LEVELS[0]), float(LEVELS[-1]))
    for level, k in zip(LEVELS, rng.binomial(EACH, expit((middle - LEVELS) / spread)), strict=True):
        belief = belief.seen(float(level), int(k), EACH)
    return belief


@GROUP.check(
    "coverage, limit of a ladder", "95 % credible intervals of the levels cleared half of the time and nine times in "
    "ten, and of the difference of two trucks, eleven levels, 12 trials each, middle and spread drawn from the prior's "
    "middle half", source=f"{LADDERS} simulated ladders, fixed seed", known="derived here", unit=_UNIT, slow=True,
    tolerance=_FLOOR,
)
def ladder() -> Measured:
    """Logistic trucks; nine in ten are cleared ln 9 spreads below the middle."""
    rng, held = np.random.default_rng(4), np.zeros(3)
    for _ in range(LADDERS):
        middle, apart = rng.uniform(22.5, 47.5), rng.uniform(-5.0, 5.0)
        spread = 50.0 * np.exp(rng.normal(np.log(0.06), 0.6))
        one, other = driven(rng, middle, spread), driven(rng, middle + apart, spread)
        ends = one.limit(0.5), one.limit(0.9), difference(other, one)[0]
        truth = middle, middle - np.log(9.0) * spread, apart
        held += [end.low <= true <= end.high for end, true in zip(ends, truth, strict=True)]
    got = (100.0 * held / LADDERS).tolist()
    return Measured([93.0] * 3, got, "half {:.1f} %, nine in ten {:.1f} %, difference {:.1f} %".format(*got))


@GROUP.check(
    "coverage, limit of two groups", "95 % credible interval of the level that half of all trials clear, where two "
    "groups that give up apart are shown: eleven levels of 12 and of 30 trials, 21 of 6",
    source=f"{MIXED} simulated ladders each, fixed seed", known="derived here", unit=_UNIT, slow=True,
    tolerance=at_least(5.0, f"two standard errors of the 65 ladders and more of {MIXED} that show groups"),
)
def groups() -> Measured:
    """Shares of a fifth to four fifths, groups 6 to 39 of 50 apart, each as sharp or as blunt as trucks are."""
    got, told = [], []
    fine = np.linspace(10.0, 60.0, 5001)
    for levels, each in ((LEVELS, EACH), (LEVELS, 30), (np.linspace(10.0, 60.0, 21), 6)):
        rng, held = np.random.default_rng(1), []
        for _ in range(MIXED):
            early, late, share = rng.uniform(15.0, 30.0), rng.uniform(36.0, 54.0), rng.uniform(0.2, 0.8)
            spread = rng.choice([0.4, 1.0, 2.0])
            curve = _clears(fine, early, late, share, spread)
            won = rng.binomial(each, _clears(levels, early, late, share, spread))
            found = two_groups(levels.tolist(), [each] * len(levels), won.tolist())
            if found is not None and found.shown:
                half = fine[int(np.argmin(np.abs(curve - 0.5)))]
                held.append(found.half.low <= half <= found.half.high)
        got.append(100.0 * float(np.mean(held)))
        told.append(f"{len(levels)} of {each}: {got[-1]:.1f} % of {len(held)}")
    return Measured([93.0] * len(got), got, ", ".join(told))


def _clears(levels: Array, early: float, late: float, share: float, spread: float) -> Array:
    return np.asarray(share * expit((early - levels) / spread) + (1.0 - share) * expit((late - levels) / spread))


@GROUP.check(
    "coverage, textbook shifts of a limit", "95 % intervals of the shift between two ladders as above, one spread and "
    "no lapses: common-slope logit and probit, Spearman-Karber",
    source=f"{LADDERS} simulated pairs, fixed seed", known="derived here", unit=_UNIT, slow=True, tolerance=_FLOOR,
)
def textbook_shifts() -> Measured:
    """Logistic trucks; the probit's law is a little wrong, and Spearman-Karber's needs none."""
    rng = np.random.default_rng(11)
    held, fitted = Counter[str](), Counter[str]()
    for _ in range(LADDERS):
        first, apart, spread = rng.uniform(25.0, 40.0), rng.uniform(0.0, 5.0), 50.0 * np.exp(rng.normal(-2.8, 0.3))
        beliefs = [driven(rng, middle, spread) for middle in (first, first + apart)]
        for name, found in shifts(*beliefs).items():
            fitted[name] += 1
            held[name] += found.low <= apart <= found.high
    got = [100.0 * held[name] / fitted[name] for name in fitted]
    return Measured([93.0] * len(got), got, ", ".join(f"{name} {g:.1f} % of {fitted[name]}" for name, g in
                                                      zip(fitted, got, strict=True)))
