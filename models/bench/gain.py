"""What to measure next to gain most: how much each further reading would narrow what the sheet is used for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from models.bench.compliance import doubt_of
from models.bench.interval import gradient
from models.bench.reconcile import Fit
from models.bench.unknowns import SPRINGS, TYRES
from models.spec import LOOSE_PART
from models.vector import Vector


@dataclass(frozen=True)
class Gain:
    """One possible reading and what it would do."""

    what: str
    target: str
    """The result that gains most by it."""
    unit: str
    now: float
    """95 % half-width of that result."""
    then: float
    together: float
    """Sum over all results of the share of variance that goes."""


_TARGETS = (("side tip angle", "deg"), ("climb tip angle", "deg"), ("front share", "%"), ("height of the CG", "mm"))
_PLACE_READ = 1.0e-3
_LIFT_READ = 0.004
"""Standard uncertainty of the height from a few lifts, in wheelbases."""


def gains(fit: Fit, scale_step: float, wheelbase: float) -> list[Gain]:
    """Rank possible readings, best first; linear, around the fitted sheet.

    A reading with gradient a and variance s^2 takes (g C a)^2 / (s^2 + a C a) off the variance of a result with
    gradient g, C being the covariance that the fit left.

    :param scale_step: kg.
    """
    targets = _slopes(fit, lambda v: _targets(fit, v, wheelbase))
    before = np.einsum("ij,jk,ik->i", targets, fit.covariance, targets)
    found = []
    for what, a, sigma in _candidates(fit, scale_step, wheelbase):
        spread = fit.covariance @ a
        less = (targets @ spread) ** 2 / (sigma**2 + a @ spread)
        shares = less / before
        best = int(np.argmax(shares))
        name, unit = _TARGETS[best]
        now = 1.96 * math.sqrt(before[best])
        then = 1.96 * math.sqrt(max(before[best] - less[best], 0.0))
        found.append(Gain(what, name, unit, now, then, float(shares.sum())))
    return sorted(found, key=lambda gain: -gain.together)


def widths(fit: Fit, wheelbase: float) -> list[tuple[str, str, float, float]]:
    """Give every result with its 95 % half-width: name, unit, value, half-width.

    That of an angle includes how far its closed form may be off.
    """
    slope = _slopes(fit, lambda v: _targets(fit, v, wheelbase))
    own = np.degrees([doubt_of("left"), doubt_of("back"), 0.0, 0.0])
    spread = 1.96 * np.sqrt(np.einsum("ij,jk,ik->i", slope, fit.covariance, slope) + own**2)
    values = _targets(fit, fit.values, wheelbase)
    return [(n, u, float(v), float(w)) for (n, u), v, w in zip(_TARGETS, values, spread, strict=True)]


def _slopes(fit: Fit, function: Callable[[Vector], Vector]) -> Vector:
    """Jacobian (outputs, values) at the fitted values, over a thousandth of what each is in doubt."""
    return gradient(function, fit.values, np.maximum(1e-3 * np.sqrt(np.diag(fit.covariance)), 1e-9))


def _targets(fit: Fit, values: Vector, wheelbase: float) -> Vector:
    state = fit.predictor.state(values)
    return np.array([
        math.degrees(fit.predictor.tilt(values, "left")), math.degrees(fit.predictor.tilt(values, "back")),
        100.0 * state[1] / wheelbase, 1000.0 * state[3],
    ])  # fmt: skip


def _candidates(fit: Fit, step: float, wheelbase: float) -> list[tuple[str, Vector, float]]:
    free = [m.unknown for m in fit.moved]
    eye = np.eye(len(free))
    found: list[tuple[str, Vector, float]] = []
    for k, unknown in enumerate(free):
        if unknown.part is None or unknown.part == LOOSE_PART:
            continue
        if unknown.key[2] == "mass" and unknown.part not in fit.weighed:
            found.append((f'weigh "{unknown.part}"', eye[k], 0.6 * step))
        elif unknown.key[2] in "xz" and unknown.key[2] != "mass":
            along = "along" if unknown.key[2] == "x" else "up"
            found.append((f'find where "{unknown.part}" balances, {along}', eye[k], _PLACE_READ))
    state = _slopes(fit, fit.predictor.state)
    found.append(("lift each axle on the scale, three heights, suspension locked", state[3], _LIFT_READ * wheelbase))
    for to, words in (("left", "tilt it sideways on a board"), ("back", "tilt it nose up on a board")):
        slope = _slopes(fit, lambda v, to=to: np.array([fit.predictor.tilt(v, to)]))[0]  # type: ignore[misc]
        found.append((f"{words}, three times", slope, math.hypot(math.radians(0.8), doubt_of(to))))
    for key, words in ((SPRINGS, "press a spring on the scale"), (TYRES, "press a tyre on the scale")):
        found += [(words, eye[k], 0.05) for k, unknown in enumerate(free) if unknown.key == key]
    return found
