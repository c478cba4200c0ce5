"""Predicted against observed, before and after learning, and what may be concluded from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.reality.grades import Brier, CalibrationPoint, brier, calibration, gap, log_score, log_scores, per_try
from sim.reality.observed import Tried
from sim.reality.posterior import Posterior
from sim.reality.response import Response
from sim.statistics.interval import Estimate

FEWEST_LINES, FEWEST_TRIES = 4, 20
"""Below these nothing is concluded, whatever comes out."""
CLOSE_ENOUGH = 0.10
"""Half-width of the gap at which 'no difference shown' is worth something."""


@dataclass(frozen=True)
class Outlook:
    """One cell: what was said before, what happened, what is said now."""

    tried: Tried
    predicted: float
    """By the simulation as it stood."""
    honest: tuple[float, float, float]
    """Learned from the other lines only: mean and 95 % interval of the rate."""
    settled: tuple[float, float, float]
    """Learned from everything, this line's tries included."""
    surprise: float
    """Two-sided chance of a count this far out, by the other lines."""


@dataclass(frozen=True)
class Grades:
    """Scores of one way to predict, over all tries."""

    name: str
    brier: Brier
    log_score: float


@dataclass(frozen=True)
class FamilyAgreement:
    """One obstacle family."""

    name: str
    lines: int
    tries: int
    predicted: float
    seen: float
    gap: Estimate


@dataclass(frozen=True)
class Reality:
    """The whole comparison."""

    outlooks: tuple[Outlook, ...]
    ahead: tuple[Outlook, ...]
    """Lines that were asked for and not driven."""
    grades: tuple[Grades, ...]
    """Simulation as it stood, learned from the other lines, and the overall rate of the other lines."""
    curve: tuple[CalibrationPoint, ...]
    learned_curve: tuple[CalibrationPoint, ...]
    gap: Estimate
    better: Estimate
    """Nats per try that learning gains on lines left out; above 0 is better."""
    families: tuple[FamilyAgreement, ...]
    posterior: Posterior
    conclusions: tuple[str, ...]
    enough: bool


def compare(cells: Sequence[Tried], responses: Sequence[Response]) -> Reality:
    """Compare attempts with simulated success, learn grip and skill from them, and check that on lines left out.

    :param cells: Driven ones, and ones with no tries that are only to be foretold.
    :param responses: Simulated success over grip of each.
    """
    posterior = Posterior(cells, responses)
    outlooks = [
        Outlook(cell, responses[n].chance(1.0), posterior.foretell(n, True), posterior.settled(n),
                posterior.tail(n) if cell.tries else 1.0)
        for n, cell in enumerate(cells)
    ]  # fmt: skip
    driven = [o for o in outlooks if o.tried.tries]
    p = [o.predicted for o in driven]
    honest = [o.honest[0] for o in driven]
    k, n = [o.tried.successes for o in driven], [o.tried.tries for o in driven]
    lines = [o.tried.line for o in driven]
    base = _base_rate(k, n, lines)
    grades = tuple(
        Grades(name, brier(q, k, n), log_score(q, k, n))
        for name, q in (("simulation as it stood", p), ("learned, line left out", honest), ("overall rate", base))
    )
    whole = gap(p, k, n, lines)
    better = per_try(log_scores(p, k, n) - log_scores(honest, k, n), np.asarray(n, dtype=float), lines)
    enough = len(set(lines)) >= FEWEST_LINES and sum(n) >= FEWEST_TRIES
    return Reality(
        tuple(driven), tuple(o for o in outlooks if not o.tried.tries), grades,
        tuple(calibration(p, k, n)), tuple(calibration(honest, k, n)), whole, better,
        tuple(_families(driven)), posterior,
        tuple(_conclusions(driven, whole, better, posterior, enough)), enough,
    )  # fmt: skip


def _base_rate(k: Sequence[int], n: Sequence[int], lines: Sequence[str]) -> list[float]:
    found = []
    for line in lines:
        others = [i for i, other in enumerate(lines) if other != line]
        found.append((sum(k[i] for i in others) + 0.5) / (sum(n[i] for i in others) + 1.0))
    return found


def _families(driven: Sequence[Outlook]) -> list[FamilyAgreement]:
    found = []
    for name in dict.fromkeys(o.tried.family for o in driven):
        some = [o for o in driven if o.tried.family == name]
        p, k, n = [o.predicted for o in some], [o.tried.successes for o in some], [o.tried.tries for o in some]
        lines = [o.tried.line for o in some]
        tries = sum(n)
        predicted = sum(a * b for a, b in zip(p, n, strict=True)) / tries
        found.append(FamilyAgreement(name, len(set(lines)), tries, predicted, sum(k) / tries, gap(p, k, n, lines)))
    return found


def _conclusions(
    driven: Sequence[Outlook], whole: Estimate, better: Estimate, posterior: Posterior, enough: bool
) -> list[str]:
    lines, tries = len({o.tried.line for o in driven}), sum(o.tried.tries for o in driven)
    said = []
    if not enough:
        said.append(
            f"Too few to conclude: {tries} tries on {lines} lines. Come back with at least {FEWEST_TRIES} tries on "
            f"{FEWEST_LINES} lines or more, some that go and some that do not; what follows is only a first look."
        )
    said.append(_of_gap(whole, lines, enough))
    said.append(_of_learning(better, enough))
    for surface, grip in posterior.grip.items():
        low, high = (math.exp(x) for x in grip.interval())
        told = f"Grip on {surface}: {math.exp(grip.mean):.2f} times the sheet's ({low:.2f} to {high:.2f})"
        told += "; the tries say little about it" if grip.learned < 0.25 else ""
        said.append(told + ".")
    low, high = posterior.driver.interval()
    told = f"The driver has {math.exp(posterior.driver.mean):.1f} times the odds of the simulated one "
    told += f"({math.exp(low):.1f} to {math.exp(high):.1f})"
    said.append(told + ("; the tries say little about it." if posterior.driver.learned < 0.25 else "."))
    odd = [o for o in driven if o.surprise < 0.05]
    if odd:
        names = ", ".join(f"{o.tried.line} ({o.tried.configuration})" for o in odd)
        said.append(f"Odd beside the other lines: {names}. Measure its height or angle and surface again.")
    faults = posterior.faults()
    said += [f"Take care: {fault}." for fault in faults]
    if not faults:
        said.append("The grid behind these was checked: next to nothing lies at its ends, and a coarser one agrees.")
    return said


def _points(share: float) -> str:
    """Signed percent without a signed nothing."""
    rounded = round(100.0 * share)
    return f"{rounded:+d}" if rounded else "0"


def _of_gap(whole: Estimate, lines: int, enough: bool) -> str:
    points = f"{_points(whole.value)} points ({_points(whole.low)} to {_points(whole.high)})"
    if lines < 2:
        return "One line says nothing about the simulation in general."
    if whole.low > 0.0 or whole.high < 0.0:
        way = "pessimistic" if whole.value > 0.0 else "optimistic"
        return f"The simulation was {way}: real tries went {points} against it." if enough else (
            f"It looks {way}: real tries went {points} against the simulation."
        )
    if whole.half_width > CLOSE_ENOUGH:
        factor = (whole.half_width / CLOSE_ENOUGH) ** 2
        more = "" if whole.half_width > 0.9 else f"; some {math.ceil(lines * factor)} lines would settle it to 10"
        return f"No difference shown, but a large one could hide: real tries went {points} against it{more}."
    return f"No difference shown: real tries went {points} against the simulation."


def _of_learning(better: Estimate, enough: bool) -> str:
    span = f"{better.value:+.2f} nats a try, {better.low:+.2f} to {better.high:+.2f}"
    if not math.isfinite(better.low):
        return "With one line nothing can be left out, so learning was not checked."
    if better.low > 0.0 and enough:
        return f"Learning grip and skill from the other lines predicted each line better ({span})."
    if better.high < 0.0 and enough:
        return f"Learning made lines left out worse predicted ({span}): they differ in more than grip and skill."
    return f"Whether learning helps on a line not yet driven is not shown ({span})."
