"""Makes a build sheet agree with the readings: least squares with limits, each value held by how well it is known.

The cost is Bayes' with normal errors: readings weighed by their covariance, and every unknown by its prior. Where the
readings say nothing a value stays; where they do, the values in most doubt move most.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from models.bench.compliance import doubt_of
from models.bench.measure_tyres import TiltReading
from models.bench.predict import Predictor
from models.bench.unknowns import SPRINGS, TYRES, Unknown, unknowns
from models.bench.weighing import Balance
from models.errors import BuildSheetError
from models.massprops import truck_properties
from models.nearest import meant
from models.part_mass import all_grams, single_grams
from models.spec import LOOSE_PART, Sheet
from models.vector import Vector

TOO_MANY_GRAMS = 0.06
"""Share of the truck beyond which unaccounted grams are no wires and screws any more."""


@dataclass(frozen=True)
class Moved:
    """One value before and after, in the screen's unit."""

    unknown: Unknown
    before: float
    after: float
    doubt_before: float
    """Standard deviations."""
    doubt_after: float

    @property
    def pull(self) -> float:
        """How far it moved in its own prior standard deviations."""
        return (self.after - self.before) / self.doubt_before if self.doubt_before else 0.0


@dataclass(frozen=True)
class Residual:
    """One reading against the sheet before and after; in the screen's unit."""

    what: str
    unit: str
    reading: float
    uncertainty: float
    before: float
    after: float

    @property
    def far(self) -> bool:
        """Whether the fitted sheet still lies three standard uncertainties off."""
        return abs(self.after - self.reading) > 3.0 * self.uncertainty


@dataclass(frozen=True)
class Fit:
    """A reconciled sheet."""

    moved: tuple[Moved, ...]
    """All unknowns, in the order of the sheet."""
    checks: tuple[Residual, ...]
    values: Vector
    covariance: Vector
    predictor: Predictor
    weighed: tuple[str, ...]
    """Parts that were weighed by themselves."""
    parts_g: float
    """What the sheet's parts sum to, with those that were weighed."""
    scale_g: float | None
    at_limit: tuple[str, ...]

    @property
    def unaccounted_g(self) -> float:
        """Grams that no part stands for."""
        return next((m.after for m in self.moved if m.unknown.key[1:] == (LOOSE_PART, "mass")), 0.0)


def reconcile(
    sheet: Sheet, balance: Balance | None, tilts: Sequence[TiltReading] = (),
    part_masses: Mapping[str, tuple[float, float]] | None = None, stiffness_known: tuple[bool, bool] = (False, False),
) -> Fit:
    """Fit a resolved sheet to a weighed balance, tilt angles and parts weighed by themselves.

    :param part_masses: mass of a single part and its standard uncertainty, kg, by the part's name.
    :param stiffness_known: whether springs and tyres were measured themselves.
    :raises BuildSheetError: nothing to fit to, or a part that the sheet does not have.
    """
    weighed = dict(part_masses or {})
    _check_names(sheet, weighed)
    if balance is None and not tilts and not weighed:
        raise BuildSheetError("there is nothing to fit to.", remedy="Weigh the truck or its parts, or tilt it.",
                              field="readings")
    free = unknowns(sheet, weighed, (bool(tilts) and not stiffness_known[0], bool(tilts) and not stiffness_known[1]))
    if balance is None or not balance.has("mass"):
        # Without the truck on the scale nothing says what is missing on the sheet.
        free = [u for u in free if u.part != LOOSE_PART]
    predictor = Predictor(sheet, free)
    start = np.array([u.value for u in free])
    doubt = np.array([u.doubt for u in free])
    low, high = np.array([u.low for u in free]), np.array([u.high for u in free])
    rows, root = _readings(balance)
    angles = np.array([t.angle.value for t in tilts])
    sigma = np.array([math.hypot(t.angle.uncertainty, doubt_of(t.to)) for t in tilts])

    def residuals(scaled: Vector) -> Vector:
        values = start + doubt * scaled
        pieces = [scaled]
        if balance is not None and rows:
            pieces.append(root @ (predictor.state(values)[rows] - _state(balance)[rows]))
        if len(angles):
            pieces.append((np.array([predictor.tilt(values, t.to) for t in tilts]) - angles) / sigma)
        return np.concatenate(pieces)

    found = _solved(residuals, (low - start) / doubt - 1e-12, (high - start) / doubt + 1e-12)
    values = start + doubt * found.x
    covariance = np.linalg.inv(found.jac.T @ found.jac) * np.outer(doubt, doubt)
    scale_g = None if balance is None else 1000.0 * balance.results["mass"].value
    return Fit(
        moved=tuple(_moved(u, v, s, _was(sheet, u)) for u, v, s in
                    zip(free, values, np.sqrt(np.diag(covariance)), strict=True)),
        checks=tuple(_checks(balance, tilts, predictor, np.array([_was(sheet, u) for u in free]), values)),
        values=values, covariance=covariance, predictor=predictor, weighed=tuple(weighed),
        parts_g=1000.0 * _sum_of_parts(predictor, free, start),
        scale_g=scale_g,
        at_limit=tuple(".".join(u.key) for u, on in zip(free, found.active_mask, strict=True) if on and u.low < u.high),
    )  # fmt: skip


def _solved(residuals: Callable[[Vector], Vector], low: Vector, high: Vector) -> Any:
    """Least squares from the sheet's own values, within limits; those bind seldom, so first without them."""
    tight = {"xtol": 1e-12, "ftol": 1e-12, "gtol": 1e-12}
    found = least_squares(residuals, np.zeros(len(low)), method="lm", **tight)
    if np.all((found.x >= low) & (found.x <= high)):
        return found
    return least_squares(residuals, np.clip(found.x, low + 1e-9, high - 1e-9), bounds=(low, high), **tight)


def _check_names(sheet: Sheet, weighed: Mapping[str, tuple[float, float]]) -> None:
    names = [part.name for part in sheet.parts]
    for name in weighed:
        if name not in names:
            raise BuildSheetError("the sheet has no such part.", field="part", value=name,
                                  remedy=meant(name, names, f"Parts: {', '.join(sorted(names))}."))


def _was(sheet: Sheet, unknown: Unknown) -> float:
    """What the sheet says itself: of a part weighed since, not the reading; of what it does not list, nothing."""
    if unknown.part == LOOSE_PART and unknown.key[2] == "mass":
        return 0.0
    if unknown.part is None or unknown.part == LOOSE_PART or unknown.key[2] != "mass":
        return unknown.value
    return single_grams(next(p for p in sheet.parts if p.name == unknown.part)) / 1000.0


def _moved(unknown: Unknown, value: float, doubt: float, before: float) -> Moved:
    scale = 100.0 if unknown.unit == "%" else 1000.0
    return Moved(unknown, unknown.shown(before), unknown.shown(value), scale * unknown.doubt, scale * doubt)


def _state(balance: Balance) -> Vector:
    return np.array([balance.results["mass"].value, *balance.cg])


def _readings(balance: Balance | None) -> tuple[list[int], Vector]:
    """Which of mass and centre of gravity are known, and a square root of their information."""
    if balance is None:
        return [], np.zeros((0, 0))
    rows = [n for n in range(4) if math.isfinite(balance.covariance[n, n])]
    known = balance.covariance[np.ix_(rows, rows)]
    return rows, np.linalg.inv(np.linalg.cholesky(known))


def _sum_of_parts(predictor: Predictor, free: Sequence[Unknown], start: Vector) -> float:
    without = start.copy()
    for k, unknown in enumerate(free):
        if unknown.key[1:] == (LOOSE_PART, "mass"):
            without[k] = 0.0
    return float(predictor.state(without)[0])


def _checks(
    balance: Balance | None, tilts: Sequence[TiltReading], predictor: Predictor, sheet: Vector, values: Vector
) -> list[Residual]:
    found = []
    if balance is not None:
        before, after = predictor.state(sheet), predictor.state(values)
        state = _state(balance)
        for n, (what, unit) in enumerate((("mass", "g"), ("centre of gravity x", "mm"), ("centre of gravity y", "mm"),
                                          ("centre of gravity height", "mm"))):  # fmt: skip
            if math.isfinite(balance.covariance[n, n]):
                doubt = 1000.0 * math.sqrt(balance.covariance[n, n])
                found.append(Residual(what, unit, 1e3 * state[n], doubt, 1e3 * float(before[n]), 1e3 * float(after[n])))
    for t in tilts:
        doubt = math.degrees(math.hypot(t.angle.uncertainty, doubt_of(t.to)))
        angles = [math.degrees(predictor.tilt(v, t.to)) for v in (sheet, values)]
        found.append(Residual(f"tips to the {t.to}", "deg", math.degrees(t.angle.value), doubt, *angles))
    return found


def warnings(fit: Fit, sheet: Sheet) -> list[str]:
    """Say what about a fit should be looked at before it is believed."""
    said = []
    truck = 1000.0 * truck_properties(sheet).mass if fit.scale_g is None else fit.scale_g
    if fit.scale_g is not None:
        off = fit.scale_g - fit.parts_g
        near = _like(sheet, abs(off)) if abs(off) > 0.03 * truck else ""
        if off < -0.02 * truck:
            said.append(
                f"The parts sum to {-off:.1f} g more than the scale shows: a part is listed twice, too heavy, or was "
                f"off the truck on the scale{near}."
            )
        elif off > TOO_MANY_GRAMS * truck:
            said.append(
                f"{off:.1f} g ({100 * off / truck:.0f} %) are on the scale and on no part: more than wires and screws. "
                f"Look for a part missing from the sheet{near}."
            )
    said += [f"{c.what} still is {c.after - c.reading:+.2f} {c.unit} off the reading." for c in fit.checks if c.far]
    for moved in fit.moved:
        weighed = moved.unknown.part in fit.weighed and moved.unknown.key[2] == "mass"
        if abs(moved.pull) > 2.5 and moved.unknown.part != LOOSE_PART and not weighed:
            said.append(
                f"{' '.join(moved.unknown.key[1:])} had to move by {abs(moved.pull):.1f} times what was in doubt: "
                "weigh or measure it."
            )
    said += [f"{name} came to rest at its limit." for name in fit.at_limit if not name.endswith(f"{LOOSE_PART}.mass")]
    return said


def _like(sheet: Sheet, grams: float) -> str:
    masses = [(p.name, all_grams(p)) for p in sheet.parts]
    name, mass = min(masses, key=lambda entry: abs(entry[1] - grams))
    return f' ("{name}" weighs about that)' if abs(mass - grams) < 0.12 * grams else ""


def stiffness_factors(fit: Fit) -> tuple[float | None, float | None]:
    """Factors on spring rates and tyre stiffnesses; None where they were not in the fit."""
    by_key = {m.unknown.key: v for m, v in zip(fit.moved, fit.values, strict=True)}
    springs, tyres = by_key.get(SPRINGS), by_key.get(TYRES)
    return (None if springs is None else math.exp(float(springs)), None if tyres is None else math.exp(float(tyres)))
