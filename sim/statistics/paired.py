"""Two configurations that met the same draws: difference, test, and the words that follow."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from scipy.special import bdtr, ndtri

from sim.errors import SimError
from sim.statistics.e_value import anytime_p
from sim.statistics.interval import Estimate, normal_quantile, wilson

Word = Literal["better", "worse", "too hard for both", "too easy for both", "practically equal", "no difference shown",
               "too few trials"]
SMALLEST_WORTH = 0.10
"""Ten points of success rate: the smallest difference worth having (assumed). A missing trial count is planned for it,
and an interval inside of it is called practically equal."""
FEWEST = 12
"""Pairs under which nothing is said: an interval from fewer is too wide and too unsure to be of use."""
ERROR = 0.05
HARD, EASY = 0.10, 0.90
"""Success rates of both trucks up to which a level is too hard, and from which on too easy, to tell them apart."""


@dataclass(frozen=True)
class PairTable:
    """Counts of paired trials by what the changed and the baseline configuration did."""

    both: int
    changed_only: int
    baseline_only: int
    neither: int

    @staticmethod
    def sum(tables: Iterable[PairTable]) -> PairTable:
        """The pairs of all of them."""
        counts = [(t.both, t.changed_only, t.baseline_only, t.neither) for t in tables]
        return PairTable(*(sum(column) for column in zip(*counts, strict=True))) if counts else PairTable(0, 0, 0, 0)

    @property
    def pairs(self) -> int:
        """Number of pairs."""
        return self.both + self.changed_only + self.baseline_only + self.neither

    @property
    def difference(self) -> float:
        """Success rate of the changed configuration less that of the baseline; NaN without pairs."""
        return (self.changed_only - self.baseline_only) / self.pairs if self.pairs else float("nan")


@dataclass(frozen=True)
class Verdict:
    """What a paired comparison shows."""

    table: PairTable
    difference: Estimate
    """Share, changed less baseline."""
    exact_p: float
    mid_p: float
    anytime_p: float
    """Valid however often the trials were looked at; see :mod:`sim.statistics.e_value`."""
    anytime: bool = False
    """Whether the trials were looked at while they came in."""
    adjusted_p: float = math.nan
    """Read together with the other comparisons of a store (:mod:`sim.compare.holm`); NaN for one that stands alone."""

    @property
    def p(self) -> float:
        """The p-value that this comparison brings with it."""
        return self.anytime_p if self.anytime else self.exact_p

    @property
    def shown(self) -> bool:
        """Whether one truck is shown to be better."""
        return self.word in ("better", "worse")

    @property
    def word(self) -> Word:
        """What is shown: a difference needs the p-value, read together with all others, and the interval."""
        table = self.table
        if table.pairs < FEWEST:
            return "too few trials"
        p = self.p if math.isnan(self.adjusted_p) else self.adjusted_p
        # The interval is that of a number of trials fixed beforehand: it has no say where they were looked at.
        low, high = (table.difference,) * 2 if self.anytime else (self.difference.low, self.difference.high)
        if p <= ERROR and (low > 0.0 or high < 0.0):
            return "better" if low > 0.0 else "worse"
        rates = [(table.both + only) / table.pairs for only in (table.changed_only, table.baseline_only)]
        if max(rates) <= HARD:
            return "too hard for both"
        if min(rates) >= EASY:
            return "too easy for both"
        if max(-self.difference.low, self.difference.high) <= SMALLEST_WORTH and not self.anytime:
            return "practically equal"
        return "no difference shown"

    @property
    def more(self) -> int:
        """Further pairs needed for a good chance to show a difference; 0 where something is said already."""
        missing = FEWEST - self.table.pairs
        return max(missing, _more(self.table)) if self.word in ("no difference shown", "too few trials") else 0

    @property
    def words(self) -> str:
        """The word, with the number of trials still needed or what else to do where nothing is shown."""
        if self.more:
            return f"{self.word} (needs about {self.more} more)"
        advice = {"too hard for both": ": lower the level", "too easy for both": ": raise the level"}
        return self.word + advice.get(self.word, "")


def tabulate(pairs: Iterable[tuple[bool, bool]]) -> PairTable:
    """Count (changed succeeded, baseline succeeded) pairs."""
    counts = {(True, True): 0, (True, False): 0, (False, True): 0, (False, False): 0}
    for changed, baseline in pairs:
        counts[bool(changed), bool(baseline)] += 1
    return PairTable(counts[True, True], counts[True, False], counts[False, True], counts[False, False])


def paired_difference(table: PairTable, confidence: float = 0.95) -> Estimate:
    """Difference of two paired success rates with its square-and-add interval.

    NaN throughout without pairs.

    Source: Newcombe, Stat. Med. 17 (1998) 2635-2650, method 10 (score limits, corrected correlation).
    """
    n = table.pairs
    if n == 0:
        return Estimate(math.nan, math.nan, math.nan)
    changed = wilson(table.both + table.changed_only, n, confidence)
    baseline = wilson(table.both + table.baseline_only, n, confidence)
    phi = _correlation(table)
    low = _reach(changed.share - changed.low, baseline.high - baseline.share, phi)
    high = _reach(baseline.share - baseline.low, changed.high - changed.share, phi)
    d = table.difference
    return Estimate(d, d - low, d + high)


def mcnemar(table: PairTable) -> tuple[float, float]:
    """Two-sided exact and mid-P value that the two success rates are equal.

    Source: Fagerland, Lydersen & Laake, BMC Med. Res. Methodol. 13 (2013) 91.
    """
    n = table.changed_only + table.baseline_only
    if n == 0:
        return 1.0, 1.0
    k = min(table.changed_only, table.baseline_only)
    tail = float(bdtr(k, n, 0.5))
    at = math.comb(n, k) * 0.5**n if n < 1000 else tail - float(bdtr(k - 1, n, 0.5)) if k else tail
    return min(1.0, 2 * tail), min(1.0, 2 * tail - at)


def pairs_needed(discordant: float, difference: float, *, confidence: float = 0.95, power: float = 0.8) -> int:
    """Pairs for which a true difference is shown with the stated chance.

    :param discordant: Share of pairs in which exactly one of the two succeeds; at least ``abs(difference)``.
    :param difference: True difference of the success rates, not zero.
    :param confidence: Two-sided level of the interval.
    :param power: Chance of showing it.

    Source: Connor, Biometrics 43 (1987) 207-211.
    """
    if difference == 0 or discordant < abs(difference):
        raise SimError("difference must not be zero nor exceed the discordant share", field="difference",
                       value=(discordant, difference))
    z_power = float(ndtri(power))
    root = normal_quantile(confidence) * math.sqrt(discordant)
    root += z_power * math.sqrt(discordant - difference**2)
    return math.ceil((root / difference) ** 2)


def verdict(table: PairTable, confidence: float = 0.95, *, anytime: bool = False) -> Verdict:
    """Difference and tests for one paired table; the words follow from them.

    Where nothing is shown, the trials still needed are planned for the difference seen, or for
    :data:`SMALLEST_WORTH` where less was seen, with 80 % power; at least one.

    :param table: Counts of pairs.
    :param confidence: Level of the interval.
    :param anytime: For a study that stopped when it had seen enough: the words then follow the anytime-valid p-value,
        since an interval for a fixed number of trials says too much.
    """
    exact_p, mid_p = mcnemar(table)
    return Verdict(table, paired_difference(table, confidence), exact_p, mid_p,
                   anytime_p(table.changed_only, table.baseline_only), anytime)


def _more(table: PairTable) -> int:
    n = table.pairs
    seen = abs(table.difference) if n else 0.0
    aim = max(seen, SMALLEST_WORTH)
    # One pseudo-pair of each sort keeps a short run of agreement from promising too little.
    discordant = max((table.changed_only + table.baseline_only + 1) / (n + 2), aim)
    # The exact test is coarser than the formula: one pair more for each unit of 1 / difference (from memory, after
    # Fleiss, Levin & Paik, Statistical Methods for Rates and Proportions, 3rd ed., 2003).
    return max(1, pairs_needed(discordant, aim, confidence=1.0 - ERROR) + math.ceil(1.0 / aim) - n)


def _reach(own: float, other: float, phi: float) -> float:
    return math.sqrt(max(0.0, own**2 - 2 * phi * own * other + other**2))


def _correlation(t: PairTable) -> float:
    margins = (
        (t.both + t.changed_only)
        * (t.baseline_only + t.neither)
        * (t.both + t.baseline_only)
        * (t.changed_only + t.neither)
    )
    if margins == 0:
        return 0.0
    cross = t.both * t.neither - t.changed_only * t.baseline_only
    if cross > 0:
        cross = max(cross - t.pairs / 2, 0)  # type: ignore[assignment]
    return float(cross / math.sqrt(margins))
