"""Reliability shown by counting failures: the repetition scheme of robot test standards.

A capability counts as demonstrated when so few failures happened in n repetitions that the chance of seeing them from
a truck of lower reliability is small. Fixed numbers of repetitions (10, 20, 30, ...) with their allowed failures are
in use: Leber, Pibida and Enders, "Confirming a performance threshold with a binary experimental response" (NIST). The
pairing of reliability 80 % with confidence 80 % or 85 % in the standards is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy import stats

from sim.errors import SimError

RELIABILITY = 0.80
CONFIDENCE = 0.80
MOST_REPETITIONS = 1_000_000


@dataclass(frozen=True)
class Demonstration:
    """What n repetitions with some failures show."""

    repetitions: int
    failures: int
    reliability: float
    """That was to be shown."""
    confidence: float
    """Asked for."""
    reached: float
    """Confidence that the reliability is at least what was to be shown."""
    allowed: int | None
    """Failures at which it still counts as shown, None when n is too small even without one."""
    lower_bound: float
    """Reliability shown at the confidence asked for (one-sided Clopper-Pearson)."""

    @property
    def shown(self) -> bool:
        """Whether the failures stay within what is allowed."""
        return self.allowed is not None and self.failures <= self.allowed


def confidence_reached(repetitions: int, failures: int, reliability: float = RELIABILITY) -> float:
    """Confidence that the reliability is at least ``reliability``: 1 - P(at most ``failures`` | n, 1 - reliability)."""
    _check(repetitions, reliability, CONFIDENCE)
    _check_failures(repetitions, failures)
    return float(stats.binom.sf(failures, repetitions, 1.0 - reliability))


def allowed_failures(repetitions: int, reliability: float = RELIABILITY, confidence: float = CONFIDENCE) -> int | None:
    """Most failures in n repetitions that still show the reliability, or None when n is too small for any."""
    _check(repetitions, reliability, confidence)
    if stats.binom.sf(0, repetitions, 1.0 - reliability) < confidence:
        return None
    # sf falls with the number of failures: the quantile brackets the answer.
    count = int(stats.binom.isf(confidence, repetitions, 1.0 - reliability))
    while count > 0 and stats.binom.sf(count, repetitions, 1.0 - reliability) < confidence:
        count -= 1
    while stats.binom.sf(count + 1, repetitions, 1.0 - reliability) >= confidence:
        count += 1
    return count


def repetitions_needed(failures: int, reliability: float = RELIABILITY, confidence: float = CONFIDENCE) -> int:
    """Fewest repetitions that show the reliability in spite of ``failures``."""
    _check(1, reliability, confidence)
    _check_failures(MOST_REPETITIONS, failures)
    low, high = failures, failures + 1
    while stats.binom.sf(failures, high, 1.0 - reliability) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if stats.binom.sf(failures, middle, 1.0 - reliability) >= confidence:
            high = middle
        else:
            low = middle
    return high


def lower_bound(repetitions: int, failures: int, confidence: float = CONFIDENCE) -> float:
    """One-sided Clopper-Pearson lower bound of the success rate."""
    _check(repetitions, RELIABILITY, confidence)
    _check_failures(repetitions, failures)
    successes = repetitions - failures
    return 0.0 if successes == 0 else float(stats.beta.ppf(1.0 - confidence, successes, failures + 1))


def demonstrate(
    repetitions: int, failures: int, reliability: float = RELIABILITY, confidence: float = CONFIDENCE
) -> Demonstration:
    """Everything the repetitions say about a reliability.

    :raises SimError: Counts that cannot be, or a reliability or confidence that is not between 0 and 1.
    """
    return Demonstration(repetitions, failures, reliability, confidence,
                         confidence_reached(repetitions, failures, reliability),
                         allowed_failures(repetitions, reliability, confidence),
                         lower_bound(repetitions, failures, confidence))


def _check(repetitions: int, reliability: float, confidence: float) -> None:
    if not 1 <= repetitions <= MOST_REPETITIONS:
        raise SimError("the number of repetitions is out of range", field="repetitions", value=repetitions,
                       remedy=f"use 1 to {MOST_REPETITIONS}")
    for name, value in (("reliability", reliability), ("confidence", confidence)):
        if not 0.0 < value < 1.0:
            raise SimError("must lie between 0 and 1", field=name, value=value, remedy="0.8 is 80 percent")


def _check_failures(repetitions: int, failures: int) -> None:
    if not 0 <= failures <= repetitions:
        raise SimError("failures cannot be more than repetitions", field="failures", value=failures)
