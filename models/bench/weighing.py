"""Mass, centre of gravity, bias and cross weight from all readings at once, with their covariance; SI.

Every reading, every ruler and the scale's own error are unknowns of one weighted least-squares problem, so that an
error in the wheelbase or in a lift (errors in variables) and an error that all readings share (the scale's zero) go
into the result as they should. Standing level, moments about the rear axle give ``x = l F_front / W`` (Jazar, Vehicle
Dynamics, Springer 2008, eqs. 2.15-2.16, a2 there); lifted, :mod:`models.bench.lifting`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import chi2

from models.bench.intake import Weighing
from models.bench.interval import Interval, covering, gradient, of_limits, of_step, pooled_scatter, shared_rounding
from models.bench.lifting import axle_share, lift_angle
from models.vector import Vector

OUTPUTS = (
    "mass", "x", "y", "height", "front_percent", "left_percent", "cross_percent",
    "front_left", "front_right", "rear_left", "rear_right",
)  # fmt: skip
_LOOSE = 10.0
"""Standard uncertainty, in wheelbases or truck masses, of what was not measured: as good as unknown."""


@dataclass(frozen=True)
class Balance:
    """What weighing says; SI, percent."""

    results: dict[str, Interval]
    """Those of :data:`OUTPUTS` that the readings determine."""
    cg: Vector
    """(3,) m in the sheet frame; NaN where not determined."""
    covariance: Vector
    """(4, 4) of mass (kg) and the centre of gravity (m); infinite variances where not determined."""
    scatter: float
    """kg, of single readings; NaN if nothing was read twice."""
    surprise: float
    """Probability of readings that disagree this much or more if all errors are as stated; NaN if nothing can."""
    pulls: tuple[tuple[str, float], ...]
    """Each reading with its distance from what fits best, in standard uncertainties."""
    lift_heights: tuple[tuple[float, Interval, str, str], ...]
    """For each lift its angle (rad), the height from it alone (m), the axle on the scale, and up or down."""

    def has(self, name: str) -> bool:
        """Whether the readings determine this result."""
        return name in self.results


@dataclass(frozen=True)
class _Term:
    """One thing known: a value, its standard uncertainty, what the unknowns say it should be."""

    name: str
    value: float
    uncertainty: float
    estimated: float
    """Part of its variance that was estimated from repeats."""
    model: Callable[[Vector], float]
    reading: bool = True


_MASS, _X, _Y, _TWIST, _HEIGHT, _BASE, _TF, _TR, _RF, _RR, _ZERO, _LEAN = range(12)
_FIRST_LIFT = 12


def balance(w: Weighing) -> Balance:
    """Work out the balance of a weighed truck."""
    terms, start, scale = _problem(w)
    values = np.array([t.value for t in terms])
    sigmas = np.array([t.uncertainty for t in terms])

    def residuals(u: Vector) -> Vector:
        return (np.array([t.model(u * scale) for t in terms]) - values) / sigmas

    found = least_squares(residuals, start / scale, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    unknowns = found.x * scale
    covariance = np.linalg.inv(found.jac.T @ found.jac)
    gain = covariance @ found.jac.T
    estimated = np.array([t.estimated for t in terms]) / sigmas**2
    surprise, stretch = _agreement(found.fun, len(start))
    scatter, freedom = pooled_scatter([v for _, v in w.groups])
    outputs = _outputs(unknowns)
    slope = gradient(_outputs, unknowns, 1e-6 * scale) * scale
    gains = slope @ gain
    variances = np.einsum("ij,ij->i", gains, gains)
    shares = (gains**2 @ estimated) / variances
    known = _known(w)
    results = {
        name: covering(float(outputs[n]), stretch * math.sqrt(variances[n]), float(shares[n]), freedom)
        for n, name in enumerate(OUTPUTS)
        if name in known
    }
    joint = stretch**2 * gains[:4] @ gains[:4].T
    cg = outputs[1:4].copy()
    for n, name in enumerate(OUTPUTS[:4]):
        if name not in known:
            joint[n, :] = joint[:, n] = 0.0
            joint[n, n] = math.inf
            if n:
                cg[n - 1] = math.nan
    pulls = tuple((t.name, float(p)) for t, p in zip(terms, found.fun, strict=True) if t.reading)
    return Balance(results, cg, joint, scatter, surprise, pulls, _lift_heights(w, unknowns, terms, freedom))


def _agreement(pulls: Vector, unknowns: int) -> tuple[float, float]:
    """Chi-squared of what is left over, and how much wider it makes the intervals (Birge, Phys. Rev. 40, 1932)."""
    spare = len(pulls) - unknowns
    if spare <= 0:
        return math.nan, 1.0
    total = float(pulls @ pulls)
    surprise = float(chi2.sf(total, spare))
    return surprise, max(1.0, math.sqrt(total / spare)) if surprise < 0.01 else 1.0


def _known(w: Weighing) -> set[str]:
    known = {"mass"}
    if w.wheels is not None:
        known |= set(OUTPUTS) - {"height"}
    if w.axles is not None:
        known |= {"x", "front_percent"}
    if w.lifts:
        known.add("height")
        ends = {lift.on for lift in w.lifts}
        if w.wheels is None and w.axles is None and ends != {"front", "rear"}:
            known.discard("height")
    return known


def _problem(w: Weighing) -> tuple[list[_Term], Vector, Vector]:
    scatter, _ = pooled_scatter([v for _, v in w.groups])
    # Read once each, a reading is taken to scatter by one step.
    single = w.step if math.isnan(scatter) else scatter
    estimated = 0.0 if math.isnan(scatter) else single**2
    before_rounding = math.sqrt(max(single**2 - of_step(w.step) ** 2, 0.0))
    rounding = shared_rounding(w.step, before_rounding)

    def load(name: str, values: Vector, model: Callable[[Vector], float]) -> _Term:
        n = len(values)
        return _Term(
            name, float(values.mean()), math.sqrt(single**2 / n + rounding**2), estimated / n,
            lambda u: model(u) + u[_ZERO],
        )  # fmt: skip

    terms: list[_Term] = []
    if w.whole is not None:
        terms.append(load("whole truck", w.whole, lambda u: float(u[_MASS])))
    if w.wheels is not None:
        terms += [
            load(name, w.wheels[n], lambda u, n=n: float(wheel_loads(u)[n]))  # type: ignore[misc]
            for n, name in enumerate(("front left", "front right", "rear left", "rear right"))
        ]
    if w.axles is not None:
        terms.append(load("front axle", w.axles[0], lambda u: float(u[_MASS] * u[_X] / u[_BASE])))
        terms.append(load("rear axle", w.axles[1], lambda u: float(u[_MASS] * (1.0 - u[_X] / u[_BASE]))))
    lengths = (w.wheelbase, *w.tracks, *w.radii)
    for n, (name, length) in enumerate(zip(_LENGTHS, lengths, strict=True)):
        terms.append(_fixed(name, _BASE + n, length.value, of_limits(length.within)))
    terms.append(_fixed("scale's zero", _ZERO, 0.0, of_limits(w.accuracy)))
    # Anything from nothing to twice as much has been found.
    terms.append(_fixed("lean on the springs", _LEAN, w.lean, max(w.lean, 1e-6)))
    for n, lift in enumerate(w.lifts):
        at = _FIRST_LIFT + n
        if lift.lift is None:
            terms.append(_fixed(f"{lift.field}.angle", at, lift.angle, of_limits(w.protractor)))
        else:
            terms.append(_fixed(f"{lift.field}.height", at, lift.lift, of_limits(w.ruler)))
        terms.append(load(lift.field, lift.load, _lift_model(at, lift.on, lift.lift is None)))
    start, scale = _start(w)
    base = w.wheelbase.value
    for name, at, loose in (
        ("x", _X, _LOOSE * base), ("y", _Y, _LOOSE * base), ("twist", _TWIST, _LOOSE * start[_MASS]),
        ("height", _HEIGHT, _LOOSE * base),
    ):  # fmt: skip
        terms.append(_fixed(name, at, float(start[at]), loose))
    return terms, start, scale


_LENGTHS = ("wheelbase", "front track", "rear track", "front axle height", "rear axle height")


def _fixed(name: str, at: int, value: float, uncertainty: float) -> _Term:
    # Something known exactly still needs a weight.
    return _Term(name, value, max(uncertainty, 1e-9), 0.0, lambda u: float(u[at]), reading=False)


def _start(w: Weighing) -> tuple[Vector, Vector]:
    base = w.wheelbase.value
    loads = w.wheels or w.axles
    total = float(w.whole.mean()) if w.whole is not None else float(sum(v.mean() for v in loads or ()))
    front = 0.5
    if w.axles is not None:
        front = float(w.axles[0].mean() / sum(v.mean() for v in w.axles))
    if w.wheels is not None:
        front = float((w.wheels[0].mean() + w.wheels[1].mean()) / sum(v.mean() for v in w.wheels))
    lengths = [length.value for length in (w.wheelbase, *w.tracks, *w.radii)]
    lifts = [lift.angle if lift.lift is None else lift.lift for lift in w.lifts]
    height = w.radii[0].value + 0.15 * base
    start = np.array([total, front * base, 0.0, 0.0, height, *lengths, 0.0, w.lean, *lifts])
    scale = np.array([total, base, base, total, base, *lengths, total, base, *(abs(x) for x in lifts)])
    return start, scale


def wheel_loads(u: Vector) -> Vector:
    """Four loads (kg): those that vary evenly over the ground plan, and a twist that shifts them crosswise."""
    half = np.array([u[_TF], -u[_TF], u[_TR], -u[_TR]]) / 2.0
    ahead = np.array([u[_BASE], u[_BASE], 0.0, 0.0])
    levers = np.stack([np.ones(4), ahead, half])
    even = levers.T @ np.linalg.solve(levers @ levers.T, u[_MASS] * np.array([1.0, u[_X], u[_Y]]))
    # Crosswise loads that change neither the sum nor a moment: each axle's couple, narrower axle with the larger.
    couple = np.array([-1.0, 1.0, u[_TF] / u[_TR], -u[_TF] / u[_TR]])
    return np.asarray(even + u[_TWIST] * couple / 4.0)


def _lift_model(at: int, on: str, is_angle: bool) -> Callable[[Vector], float]:
    def model(u: Vector) -> float:
        return float(u[_MASS]) * _share(u, float(u[at]), on, is_angle, float(u[_HEIGHT] + u[_LEAN]))

    return model


def _share(u: Vector, raised_by: float, on: str, is_angle: bool, height: float) -> float:
    """Share of the weight on the axle left on the scale, of a truck with its centre of gravity at this height (m)."""
    radii = (float(u[_RF]), float(u[_RR]))
    down, raised = radii if on == "front" else radii[::-1]
    angle = raised_by if is_angle else lift_angle(raised_by, float(u[_BASE]), down, raised)
    return axle_share(float(u[_X]), height, angle, float(u[_BASE]), radii, on)


def _outputs(u: Vector) -> Vector:
    loads = wheel_loads(u)
    total = loads.sum()
    percents = 100.0 / total * np.array([loads[0] + loads[1], loads[0] + loads[2], loads[1] + loads[2]])
    return np.array([u[_MASS], u[_X], u[_Y], u[_HEIGHT], *percents, *loads])


def _lift_heights(
    w: Weighing, u: Vector, terms: list[_Term], freedom: int
) -> tuple[tuple[float, Interval, str, str], ...]:
    """Height from each lift alone, all else as found, with its own load's and angle's uncertainty."""
    by_name = {t.name: t for t in terms}
    found = []
    for lift in w.lifts:
        term = by_name[lift.field]

        def height(at: Vector, on: str = lift.on, by_angle: bool = lift.lift is None) -> Vector:
            low, high = (_share(u, float(at[0]), on, by_angle, metres) for metres in (0.0, 1.0))
            per_metre = high - low
            return np.array([((at[1] - u[_ZERO]) / u[_MASS] - low) / per_metre - u[_LEAN]])

        raised_by = lift.angle if lift.lift is None else lift.lift
        at = np.array([raised_by, term.value])
        within = of_limits(w.protractor if lift.lift is None else w.ruler)
        slope = gradient(height, at, np.array([1e-5 * raised_by, 1e-5 * term.value]))[0]
        variances = (slope * np.array([within, term.uncertainty])) ** 2
        share = float(variances[1] / variances.sum() * term.estimated / term.uncertainty**2)
        single = covering(float(height(at)[0]), math.sqrt(variances.sum()), share, freedom)
        found.append((lift.angle, single, lift.on, lift.going))
    return tuple(found)
