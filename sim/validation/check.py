"""What a check is: a claim, where its reference value comes from, a tolerance with its reason, and a function."""

from __future__ import annotations

import math
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from time import perf_counter
from typing import Literal

Known = Literal["read", "from memory", "derived here", "unsourced", "other library"]
"""How the reference value is known: read in the source named; recalled; worked out from the laws of mechanics; said in
the trade or by one who measured, with nothing to cite; or computed by a library that is not ours."""
State = Literal["pass", "fail", "broken", "not run"]
Kind = Literal["absolute", "relative", "at least", "at most", "between", "shown"]


@dataclass(frozen=True)
class Measured:
    """What a check's function returns: reference values and ours, in the check's unit, one by one."""

    expected: Sequence[float]
    got: Sequence[float]
    note: str = ""
    """What else is worth saying: how large an effect was, what was assumed."""
    interval: tuple[float, float] | None = None
    """Interval of a single estimate in ``got``."""


def one(expected: float, got: float, note: str = "") -> Measured:
    """Return a single pair."""
    return Measured((float(expected),), (float(got),), note)


def estimate(value: float, low: float, high: float, note: str = "", *, than: float = 0.0) -> Measured:
    """Return an estimate with its interval, to be compared with a bound."""
    return Measured((float(than),), (float(value),), note, (float(low), float(high)))


@dataclass(frozen=True)
class Tolerance:
    """How far off is still right, and why.

    ``absolute`` and ``relative`` are two-sided; ``at least`` and ``at most`` allow ``value`` on the wrong side and
    judge an interval by its near end; ``between`` wants every value between the two expected ones; ``shown`` wants the
    interval to lie on the positive side of the expected value.
    """

    kind: Kind
    value: float
    reason: str

    def judge(self, measured: Measured) -> tuple[float, int]:
        """Worst error (positive: wrong by so much; for one-sided bounds negative: room left) and which pair it is."""
        if not measured.got or any(not math.isfinite(v) for v in measured.got):
            return math.inf, next((i for i, v in enumerate(measured.got) if not math.isfinite(v)), 0)
        errors = self._errors(measured)
        worst = max(range(len(errors)), key=lambda i: errors[i])
        return errors[worst], worst

    def _errors(self, measured: Measured) -> list[float]:
        if self.kind == "between":
            floor, ceiling = measured.expected
            return [max(floor - got, got - ceiling) for got in measured.got]
        low, high = (None, None) if measured.interval is None else measured.interval
        pairs = list(zip(measured.expected, measured.got, strict=True))
        if self.kind == "relative":
            return [abs(got - want) / abs(want) for want, got in pairs]
        if self.kind == "absolute":
            return [abs(got - want) for want, got in pairs]
        if self.kind == "at most":
            return [(got if high is None else high) - want for want, got in pairs]
        return [want - (got if low is None else low) for want, got in pairs]

    @property
    def words(self) -> str:
        """The tolerance as the table shows it."""
        if self.kind == "relative":
            return f"±{100 * self.value:.3g} %"
        if self.kind == "absolute":
            return f"±{self.value:.3g}"
        if self.kind in ("between", "shown"):
            return {"between": "between", "shown": "interval above it"}[self.kind]
        return self.kind if self.value == 0 else f"{self.kind}, slack {self.value:.3g}"


def absolute(value: float, reason: str) -> Tolerance:
    """Within so much of the reference, in the check's unit."""
    return Tolerance("absolute", value, reason)


def relative(value: float, reason: str) -> Tolerance:
    """Within this share of the reference."""
    return Tolerance("relative", value, reason)


def at_least(slack: float, reason: str) -> Tolerance:
    """Not below the reference."""
    return Tolerance("at least", slack, reason)


def at_most(slack: float, reason: str) -> Tolerance:
    """Not above the reference."""
    return Tolerance("at most", slack, reason)


def between(reason: str) -> Tolerance:
    """Between the two reference values."""
    return Tolerance("between", 0.0, reason)


def shown(reason: str) -> Tolerance:
    """An effect: its interval lies above the reference value."""
    return Tolerance("shown", 0.0, reason)


@dataclass(frozen=True)
class Check:
    """One claim that can be false."""

    name: str
    group: str
    claim: str
    source: str
    known: Known
    unit: str
    tolerance: Tolerance
    function: Callable[[], Measured]
    needs: tuple[str, ...] = ()
    """Modules of other libraries, by import name."""
    slow: bool = False

    @property
    def lacking(self) -> tuple[str, ...]:
        """The modules it needs that are not installed."""
        return tuple(name for name in self.needs if find_spec(name) is None)

    def run(self) -> Result:
        """Run it; whatever goes wrong is part of the answer."""
        lacking = self.lacking
        if lacking:
            return Result(self.name, "not run", note=f"needs {', '.join(lacking)}, which is not installed")
        start = perf_counter()
        try:
            measured = self.function()
        except Exception as fault:
            where = traceback.extract_tb(fault.__traceback__)[-1]
            note = f"{type(fault).__name__}: {fault} ({where.name}, line {where.lineno})"
            return Result(self.name, "broken", note=note, seconds=perf_counter() - start)
        error, worst = self.tolerance.judge(measured)
        pair = (measured.expected, worst) if self.tolerance.kind != "between" else (measured.expected, 0)
        return Result(
            self.name,
            "pass" if error <= self.tolerance.value else "fail",
            expected=pair[0][pair[1]],
            upper=measured.expected[1] if self.tolerance.kind == "between" else None,
            got=measured.got[worst],
            interval=measured.interval,
            error=error,
            values=len(measured.got),
            note=measured.note,
            seconds=perf_counter() - start,
        )


@dataclass(frozen=True)
class Result:
    """How a check came out; of several values the worst is shown."""

    name: str
    state: State
    expected: float = math.nan
    upper: float | None = None
    got: float = math.nan
    interval: tuple[float, float] | None = None
    error: float = math.nan
    values: int = 0
    note: str = ""
    seconds: float = 0.0


@dataclass
class Group:
    """Checks that belong together; its :meth:`check` decorator adds one."""

    name: str
    title: str
    checks: list[Check] = field(default_factory=list)

    def check(
        self, name: str, claim: str, *, source: str, known: Known, unit: str, tolerance: Tolerance,
        needs: tuple[str, ...] = (), slow: bool = False,
    ) -> Callable[[Callable[[], Measured]], Check]:
        """Make a check of the decorated function and add it to the group."""

        def made(function: Callable[[], Measured]) -> Check:
            check = Check(name, self.name, claim, source, known, unit, tolerance, function, needs, slow)
            self.checks.append(check)
            return check

        return made
