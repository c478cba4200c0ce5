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

Word = Literal["better", "worse", "no difference shown"]
SMALLEST_WORTH = 0.10
"""Ten points of success rate: the smallest difference that a missing trial count is planned for."""


@dataclass(frozen=True)
class PairTable:
    """Counts of paired trials by what the changed and the baseline configuration did."""

    both: int
    changed_only: int
    baseline_only: int
    neither: int

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
    word: Word
    more: int
    """Further pairs needed for a good chance to show a difference; 0 once one is shown."""

    @property
    def words(self) -> str:
        """The word, with the number of trials still needed where nothing is shown."""
        return f"{self.word} (needs about {self.more} more)" if self.more else self.word


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


def verdict(table: PairTable, confidence: float = 0.95, *, error: float | None = None) -> Verdict:
    """Difference, test and words for one paired table.

    The words follow the interval. Where nothing is shown, the trials still needed are planned for the difference
    seen, or for :data:`SMALLEST_WORTH` where less was seen, with 80 % power; at least one.

    :param table: Counts of pairs.
    :param confidence: Level of the interval.
    :param error: For a study that stopped when it had seen enough: the words then follow the anytime-valid p-value
        at this error, since an interval for a fixed number of trials says too much.
    """
    difference = paired_difference(table, confidence)
    exact_p, mid_p = mcnemar(table)
    anytime = anytime_p(table.changed_only, table.baseline_only)
    if error is None:
        up, down = difference.low > 0, difference.high < 0
    else:
        up, down = (anytime <= error and sign * table.difference > 0 for sign in (1, -1))
    word: Word = "better" if up else "worse" if down else "no difference shown"
    more = 0 if up or down else _more(table, confidence)
    return Verdict(table, difference, exact_p, mid_p, anytime, word, more)


def _more(table: PairTable, confidence: float) -> int:
    n = table.pairs
    seen = abs(table.difference) if n else 0.0
    aim = max(seen, SMALLEST_WORTH)
    # One pseudo-pair of each sort keeps a short run of agreement from promising too little.
    discordant = max((table.changed_only + table.baseline_only + 1) / (n + 2), aim)
    return max(1, pairs_needed(discordant, aim, confidence=confidence) - n)


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
