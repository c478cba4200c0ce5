"""Which unknown could flip a verdict, and what to measure first.

One at a time every unknown is driven low, at the sheet's value and high, in the same luck; where the gain changes
sides the value at which it does is closed in on by halving. Then cases drawn from all priors together fit a surface,
whose error is stated; the shares of the variance and the value of measuring each unknown are read off it.

Variance shares: Sobol', Math. Comput. Simul. 55 (2001) 271-280; Saltelli et al., Comput. Phys. Commun. 181 (2010)
259-270, computed by SALib. Value of partial information: Raiffa & Schlaifer (1961), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from SALib.analyze import sobol as analysis
from SALib.sample import sobol as sampling
from scipy.special import ndtri

from sim.decision import unknowns as what
from sim.decision.cases import Cases
from sim.decision.effect import FEWEST, LEAST_WORTH, PairedLimits, effect, enough, paired
from sim.decision.judgement import DRAWS, SURE, Judgement, Spread, judge, luck_draws, on_sides, plain
from sim.decision.obstacle_mix import Line
from sim.decision.runner import Field
from sim.decision.unknowns import FAR, Prior
from sim.decision.wording import by_side
from sim.statistics import group_sequential
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
GRID = 0.25
"""Standard deviations to which a flip is bracketed."""
SOBOL_POINTS = 1024
BINS = 32
WORTH_SAVING = 0.05
"""Points of expected regret below which measuring is told to save nothing: less than the figures are printed to."""
DRAWN = 32
"""Cases drawn from all priors together."""


@dataclass(frozen=True)
class Influence:
    """What one unknown does to the gain."""

    unknown: Prior
    low: Estimate
    """Gain with it low, points; of a choice of drivers, with the first of them."""
    high: Estimate
    flips: tuple[float, float] | None
    """Percent away from the sheet between which the gain crosses the least worth having; None where it does not."""
    share: float
    """Of the variance between cases that it makes alone (first-order Sobol' index of the surface)."""
    total: float
    """The same with all its company (total index)."""
    saved: float
    """Expected regret that knowing it first would save, points."""
    decides: float
    """Share of the values it may have at which the verdict would be settled once it is known."""

    @property
    def saved_per_hour(self) -> float:
        """Regret saved per hour at the bench."""
        return 60.0 * self.saved / self.unknown.minutes


@dataclass(frozen=True)
class Doubt:
    """The whole answer."""

    judgement: Judgement
    influences: tuple[Influence, ...]
    """The one to measure first comes first."""
    gains: Array
    """(cases,) gain of every drawn case, points."""
    unknowns: tuple[Prior, ...]

    @property
    def least(self) -> float:
        """Smallest gain worth having, points."""
        return self.judgement.least

    @property
    def spread(self) -> Spread:
        """Surface and drawn cases."""
        assert self.judgement.spread is not None
        return self.judgement.spread


def cast(unknowns: Sequence[Prior], driver: str, drawn: int = DRAWN, seed: int = 0) -> Cases:
    """Every case that may be driven: each unknown alone at every point of the grid, then those drawn together."""
    points, luck = [], []
    for k, one in enumerate(unknowns):
        for z in _values(one):
            point = np.zeros(len(unknowns))
            point[k] = z
            for repeat in range(FEWEST):
                points.append(point)
                luck.append(repeat)
    together = what.draws(unknowns, drawn, seed)
    return Cases(tuple(unknowns), np.vstack([np.array(points), together]),
                 (*luck, *(k % FEWEST for k in range(drawn))), driver)


def _values(one: Prior) -> list[float]:
    if one.choices:
        return [1.0]
    return [float(z) for z in np.arange(-FAR, FAR + GRID / 2, GRID) if z]


def investigate(
    field: Field, lines: tuple[Line, ...], base: str, changed: str, cases: Cases, least: float = LEAST_WORTH,
) -> Doubt:
    """Drive both trucks (hashes) in the cases of :func:`cast`, as many as are needed."""
    unknowns = cases.unknowns
    field.find([changed], range(FEWEST))
    found = enough(paired(field.searches, lines, [base, changed], range(FEWEST)))
    one = effect(found, changed, group_sequential.ERROR)
    drive = _Driven(field, lines, base, changed, cases, found, {})
    alone = [_alone(drive, k, least, one.gain) for k in range(len(unknowns))]
    single = sum(len(_values(u)) for u in unknowns) * FEWEST
    points, added = cases.added(field, lines, base, changed, range(single, len(cases.luck)))
    more = [(point, value) for (k, z), values in drive.known.items() for point, value in
            ((_point(unknowns, k, z), float(v)) for v in values)]
    spread = Spread.of(unknowns, np.vstack([points, *(p for p, _ in more)]), np.array([*added, *(v for _, v in more)]))
    judgement = judge(one, least, spread, on_sides(one, found))
    first, total = _variance_shares(spread)
    saved, decides = _values_of_measuring(judgement)
    influences = [Influence(u, *alone[k], float(first[k]), float(total[k]), saved[k], decides[k])
                  for k, u in enumerate(unknowns)]
    influences.sort(key=lambda i: (-i.saved_per_hour, -i.total))
    return Doubt(judgement, tuple(influences), one.gain.value + added, unknowns)


@dataclass
class _Driven:
    """What was driven with one unknown away from the sheet."""

    field: Field
    lines: tuple[Line, ...]
    base: str
    changed: str
    cases: Cases
    found: PairedLimits
    known: dict[tuple[int, float], Array]

    def added(self, k: int, z: float) -> Array:
        """(repeats,) what the unknown at z standard deviations adds to the gain."""
        if (k, z) not in self.known:
            wanted = _point(self.cases.unknowns, k, z)
            which = [n for n, point in enumerate(self.cases.points) if np.array_equal(point, wanted)][:FEWEST]
            self.known[k, z] = self.cases.added(self.field, self.lines, self.base, self.changed, which)[1]
        return self.known[k, z]


def _point(unknowns: Sequence[Prior], k: int, z: float) -> Array:
    point = np.zeros(len(unknowns))
    point[k] = z
    return point


def _alone(
    drive: _Driven, k: int, least: float, sheet: Estimate
) -> tuple[Estimate, Estimate, tuple[float, float] | None]:
    """Gain low and high, and the bracket of a flip on the side where it flips first."""
    unknown = drive.cases.unknowns[k]
    if unknown.choices:
        other = _gain(drive, k, 1.0, sheet)
        return sheet, other, (0.0, 1.0) if (other.value > least) != (sheet.value > least) else None
    low, high = (_gain(drive, k, z, sheet) for z in (-FAR, FAR))
    ends = [z for z, gain in ((-FAR, low), (FAR, high)) if (gain.value > least) != (sheet.value > least)]
    brackets = []
    for end in ends:
        near, far = 0.0, end
        while abs(far - near) > GRID + 1e-9:
            middle = round((near + far) / 2.0 / GRID) * GRID
            same = (_gain(drive, k, middle, sheet).value > least) == (sheet.value > least)
            near, far = (middle, far) if same else (near, middle)
        brackets.append((unknown.sd * near, unknown.sd * far))
    return low, high, min(brackets, key=lambda b: abs(b[1])) if brackets else None


def _gain(drive: _Driven, k: int, z: float, sheet: Estimate) -> Estimate:
    """Gain with one unknown elsewhere: the sheet's, and the paired difference to it with its interval."""
    raw = group_sequential.wary(drive.added(k, z), group_sequential.ERROR, drive.found.rounding)
    return Estimate(sheet.value + raw.value, sheet.value + raw.low, sheet.value + raw.high)


def _variance_shares(spread: Spread) -> tuple[Array, Array]:
    """First-order and total Sobol' indices of the surface under the priors."""
    count = len(spread.unknowns)
    problem = {"num_vars": count, "names": [u.name for u in spread.unknowns], "bounds": [[0.0, 1.0]] * count}
    uniform = sampling.sample(problem, SOBOL_POINTS, calc_second_order=False, seed=0)
    at = np.clip(ndtri(np.clip(uniform, 1e-6, 1.0 - 1e-6)), -2.5, 2.5)
    for k, one in enumerate(spread.unknowns):
        if one.choices:
            at[:, k] = np.minimum(np.floor(uniform[:, k] * len(one.choices)), len(one.choices) - 1)
    values = spread.surface.at(at)
    if float(values.std()) < 1e-9:
        return np.zeros(count), np.zeros(count)
    found = analysis.analyze(problem, values, calc_second_order=False, seed=0)
    return np.maximum(found["S1"], 0.0), np.maximum(found["ST"], 0.0)


def _values_of_measuring(found: Judgement) -> tuple[list[float], list[float]]:
    """Expected regret saved by knowing each unknown, and the share of its values at which that settles the verdict."""
    assert found.spread is not None
    at, added = found.spread.sample(DRAWS)
    gains = luck_draws(found.effect) + added
    before = max(float(gains.mean()), 0.0)
    saved, decides = [], []
    for k in range(at.shape[1]):
        order = np.argsort(at[:, k], kind="stable")
        bins = np.array_split(gains[order], len(found.spread.unknowns[k].choices) or BINS)
        saved.append(max(0.0, float(np.mean([max(float(b.mean()), 0.0) for b in bins])) - before))
        chances = np.array([np.mean(b > found.least) for b in bins])
        decides.append(float(np.mean((chances >= SURE) | (chances <= 1.0 - SURE))))
    return saved, decides


def sentence(doubt: Doubt) -> str:
    """What could flip the verdict, and what to measure first."""
    word = plain(doubt.judgement.effect.gain, doubt.least)
    risky = [one for one in doubt.influences if one.flips is not None]
    flipped = float(np.mean((doubt.gains > doubt.least) != (doubt.judgement.effect.gain.value > doubt.least)))
    span = f"{doubt.gains.min():+.1f} and {doubt.gains.max():+.1f} points"
    said = f"As on the sheet: {word}{by_side(doubt.judgement)}. "
    if risky:
        said += f"It flips with {', '.join(_flip(one) for one in risky)}"
    else:
        said += f"No unknown alone flips it within ±{FAR:g} standard deviations"
    said += f"; drawn together, {100.0 * flipped:.0f} % of {len(doubt.gains)} cases lie on the other side ({span}). "
    first = doubt.influences[0]
    if first.saved < WORTH_SAVING:
        return said + "Measuring saves no expected regret: the verdict would stay."
    return said + (f"Measure {first.unknown.name} first: it decides in {100.0 * first.decides:.0f} % of cases and "
                   f"saves {first.saved:.2f} points of expected regret in {first.unknown.minutes:g} minutes at the "
                   "bench. "
                   f"{first.unknown.bench}")


def _flip(one: Influence) -> str:
    if one.flips is None or one.unknown.choices:
        return f"the {one.unknown.choices[-1]} driver"
    near, far = one.flips
    return f"{one.unknown.name} between {near:+.3g} and {far:+.3g} %"
