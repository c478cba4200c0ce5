"""Intervals, tests and threshold fits against published tables, other libraries and by simulation."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from scipy.stats import binom

from sim.statistics.interval import quantile, wilson
from sim.statistics.paired import PairTable, mcnemar, paired_difference
from sim.statistics.quantal import Curve, LevelCounts, common_slope
from sim.statistics.reliability import allowed_failures, confidence_reached
from sim.statistics.threshold import Belief
from sim.validation.check import Group, Measured, absolute, at_most, between, relative

GROUP = Group("statistics", "Statistics")
PRINTED = absolute(5.1e-5, "four printed decimals")


@GROUP.check("Wilson interval, table", "81/263, 15/148, 0/20, 1/29, 29/29",
             source="Newcombe, Stat. Med. 17 (1998) 857-872, Table I", known="read",
             unit="share", tolerance=PRINTED)
def wilson_table() -> Measured:
    """Both limits of each."""
    want = (0.2553, 0.3662, 0.0624, 0.1605, 0.0, 0.1611, 0.0061, 0.1718, 0.8830, 1.0)
    cases = ((81, 263), (15, 148), (0, 20), (1, 29), (29, 29))
    got = [limit for k, n in cases for limit in (wilson(k, n).low, wilson(k, n).high)]
    return Measured(want, got)


@GROUP.check("Wilson interval, statsmodels", "All k of n = 1 to 40",
             source="statsmodels proportion_confint(method='wilson')", known="other library",
             unit="share", tolerance=absolute(1e-12, "the same formula"))
def wilson_statsmodels() -> Measured:
    """Both limits."""
    from statsmodels.stats.proportion import proportion_confint

    want: list[float] = []
    got: list[float] = []
    for n in range(1, 41):
        for k in range(n + 1):
            want += [float(x) for x in proportion_confint(k, n, method="wilson")]
            got += [wilson(k, n).low, wilson(k, n).high]
    return Measured(want, got)


@GROUP.check("common slope, statsmodels",
             "Middles, spread and half the shift's interval of two groups of 60 tries on one slope, logit and probit",
             source="statsmodels GLM, binomial family", known="other library",
             unit="level", tolerance=relative(1e-4, "where either stops"))
def common_slope_statsmodels() -> Measured:
    """Made-up clears at five levels."""
    import statsmodels.api as sm

    x, tries = np.arange(10.0, 51.0, 10.0), np.full(5, 12)
    clears = np.array([[12, 10, 6, 2, 0], [12, 12, 9, 6, 1]])
    which = np.repeat([0.0, 1.0], 5)
    design = np.column_stack([1.0 - which, which, np.tile(x, 2)])
    table = np.column_stack([clears.ravel(), 12 - clears.ravel()])
    want: list[float] = []
    got: list[float] = []
    links: dict[Curve, object] = {"logit": sm.families.links.Logit(), "probit": sm.families.links.Probit()}
    for curve, link in links.items():
        fit = sm.GLM(table, design, family=sm.families.Binomial(link=link)).fit(tol=1e-12)
        a, b, s = (float(value) for value in fit.params)
        gradient = np.array([1.0 / s, -1.0 / s, (b - a) / s**2])
        want += [-a / s, -b / s, -1.0 / s, 1.959964 * math.sqrt(float(gradient @ fit.cov_params() @ gradient))]
        ours = common_slope(LevelCounts(x, tries, clears[0]), LevelCounts(x, tries, clears[1]), curve)
        got += [*ours.middles, ours.spread, ours.interval[1] - ours.shift]
    return Measured(want, got)


@GROUP.check("McNemar, table", "Discordant pairs 6 and 16: exact and mid-P",
             source="Fagerland, Lydersen & Laake (CRC 2017) via the authors' package tests; data of Cavo et al. 2012",
             known="read",
             unit="p", tolerance=absolute(5.1e-7, "six printed decimals"))
def mcnemar_table() -> Measured:
    """59, 6, 16, 80."""
    return Measured((0.052479, 0.034690), mcnemar(PairTable(59, 6, 16, 80)))


@GROUP.check("paired difference, table", "Square-and-add interval: [[59, 6], [16, 80]] and [[1, 0], [0, 1]]",
             source="Newcombe, Stat. Med. 17 (1998) 2635-2650, method 10, via the package tests of Fagerland et al.",
             known="read",
             unit="share", tolerance=PRINTED)
def paired_table() -> Measured:
    """Value and both limits."""
    got: list[float] = []
    for cells in ((59, 6, 16, 80), (1, 0, 0, 1)):
        e = paired_difference(PairTable(*cells))
        got += [e.value, e.low, e.high]
    return Measured((-0.0621, -0.1186, -0.0046, 0.0, -0.5734, 0.5734), got)


@GROUP.check(
    "reliability demonstration",
    "Confidence that reliability is 0.80 or more: 10 of 10, 19 of 20, 27 of 30; failures allowed at 85 % in 10 to 100",
    source="binomial tail; after Leber, Pibida & Enders (NIST); numbers by scipy", known="other library",
    unit="share, n", tolerance=PRINTED,
)
def reliability() -> Measured:
    """0.8926, 0.9308, 0.8773; 0, 1, 3, 4, 6, 15."""
    got = [confidence_reached(n, c, 0.8) for n, c in ((10, 0), (20, 1), (30, 3))]
    allowed = [float(allowed_failures(n, 0.8, 0.85) or 0) for n in (10, 20, 30, 40, 50, 100)]
    return Measured((0.8926, 0.9308, 0.8773, 0.0, 1.0, 3.0, 4.0, 6.0, 15.0), [*got, *allowed])


BEETLES = (
    (1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839),
    (59, 60, 62, 56, 63, 59, 62, 60),
    (6, 13, 18, 28, 52, 53, 61, 60),
)


@GROUP.check(
    "threshold of Bliss's beetles",
    "Dose that kills half (killed counts as not cleared), between the logit and the complementary log-log fit",
    source="Bliss, Ann. Appl. Biol. 22 (1935) 134 (counts as recalled); statsmodels: logit 1.77172, clog-log 1.77875",
    known="other library",
    unit="log10 dose",
    tolerance=between("our curve is a logit with lapses and luck, as lopsided as these data want it"),
)
def beetles() -> Measured:
    """Posterior median of the middle."""
    belief = Belief.start(1.65, 1.92)
    for dose, n, killed in zip(*BEETLES, strict=True):
        for k in range(n):
            belief = belief.after(dose, k >= killed)
    found = belief.limit(0.5)
    return Measured((1.77172, 1.77875), (found.value,), f"95 % interval {found.low:.4f} … {found.high:.4f}")


def covered(n: int, p: float) -> float:
    """Share of samples whose Wilson interval holds p: exact sum over the binomial law."""
    k = np.arange(n + 1)
    inside = [wilson(int(i), n).low <= p <= wilson(int(i), n).high for i in k]
    return float(np.sum(binom.pmf(k, n, p)[inside]))


_BAND = "discrete counts make coverage jump about 95 %; the band is the one asked for"


@GROUP.check("coverage, Wilson",
             "Mean coverage of the 95 % interval over p 0.1 to 0.9 (in steps of 0.01), n = 10, 20, 30, 50, 100",
             source="exact sum over the binomial distribution", known="derived here",
             unit="%", tolerance=between(_BAND))
def wilson_coverage() -> Measured:
    """Mean over p, as rates in use are not known beforehand; the worst single p is in the note."""
    got, worst = [], 1.0
    for n in (10, 20, 30, 50, 100):
        shares = [covered(n, float(p)) for p in np.arange(0.10, 0.901, 0.01)]
        got.append(100.0 * float(np.mean(shares)))
        worst = min(worst, *shares)
    return Measured((93.0, 97.5), got, f"worst single case {100 * worst:.1f} %")


@GROUP.check(
    "coverage, paired difference",
    "Mean simulated coverage of the 95 % interval of a paired difference over five pairs of rates, n = 20, 40, 100",
    source="6000 simulated studies each, fixed seed: standard error 0.3 %", known="derived here",
    unit="%", tolerance=between(_BAND),
)
def paired_coverage() -> Measured:
    """Pairs share a draw half of the time, as builds on one course do."""
    rng = np.random.default_rng(11)

    @cache
    def limits(a: int, b: int, c: int, d: int) -> tuple[float, float]:
        e = paired_difference(PairTable(a, b, c, d))
        return e.low, e.high

    got, every = [], []
    for n in (20, 40, 100):
        cases = []
        for p, q in ((0.3, 0.3), (0.5, 0.5), (0.5, 0.7), (0.4, 0.8), (0.8, 0.9)):
            u, v = rng.random((2, 6000, n))
            same = rng.random((6000, n)) < 0.5
            one, other = u < p, np.where(same, u, v) < q
            cells = np.stack([one & other, one & ~other, ~one & other, ~one & ~other]).sum(axis=2).T
            hits = [low <= p - q <= high for low, high in (limits(*map(int, c)) for c in cells)]
            cases.append(100.0 * float(np.mean(hits)))
        got.append(float(np.mean(cases)))
        every += cases
    return Measured((93.0, 97.5), got, f"single cases {min(every):.1f}–{max(every):.1f} %")


@GROUP.check(
    "coverage, median", "Simulated coverage of the 95 % interval of a median is never below 95 %, n = 10, 20, 50",
    source="4000 simulated samples each of a skewed law, fixed seed; order statistics, David & Nagaraja (2003), 7.1",
    known="derived here",
    unit="% missed", tolerance=at_most(0.7, "two standard errors of the simulation"),
)
def median_coverage() -> Measured:
    """Distribution-free, hence on the safe side."""
    rng = np.random.default_rng(5)
    got = []
    for n in (10, 20, 50):
        samples = rng.exponential(size=(4000, n))
        hits = [e.low <= math.log(2.0) <= e.high for e in (quantile(s, 0.5) for s in samples)]
        got.append(100.0 * (1.0 - float(np.mean(hits))))
    return Measured([5.0] * 3, got)
