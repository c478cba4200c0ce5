"""What one bench measurement found, what the sheet would have said, and what it writes on the sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.stats import t as student

from models.bench.interval import Interval
from models.errors import BuildSheetError
from models.vector import Vector

Mark = Literal["measured", "fitted", "assumed", "set"]


@dataclass(frozen=True)
class Setting:
    """A value for the sheet, with where it goes and how it came about."""

    key: tuple[str, ...]
    """Steps to the key; an entry of a list by its name."""
    value: Any
    """In the sheet's own unit; None takes the key out."""
    mark: Mark
    remark: str = ""
    """For the reader of the sheet: date, interval, how."""


@dataclass(frozen=True)
class Measurement:
    """One result."""

    procedure: str
    what: str
    unit: str
    found: Interval | None
    """In ``unit``; None for a table."""
    sheet_says: float | None = None
    """The same quantity by the sheet, in ``unit``."""
    settings: tuple[Setting, ...] = ()
    remark: str = ""

    @property
    def surprising(self) -> bool:
        """Whether the sheet lies well outside the interval (by more than half its width again)."""
        if self.found is None or self.sheet_says is None:
            return False
        return abs(self.sheet_says - self.found.value) > 1.5 * max(self.found.half_width, 1e-12)


def mean_of(values: Sequence[float] | Vector, reading: float) -> Interval:
    """Mean of repeats with its 95 % interval: their scatter over root n, and the instrument's own limit.

    A single reading is taken to scatter by the instrument's limit.

    :param reading: standard uncertainty of the instrument, in the values' unit; not made smaller by repeats.
    """
    x = np.asarray(values, dtype=float)
    own = reading if len(x) == 1 else float(np.std(x, ddof=1)) / math.sqrt(len(x))
    freedom = max(len(x) - 1, 1) if len(x) > 1 else 1e9
    total = math.hypot(own, reading)
    effective = freedom * (total / own) ** 4 if own > 0 else 1e9
    return Interval.around(float(x.mean()), total, float(student.ppf(0.975, min(effective, 1e9))))


def slope_of(x: Vector, y: Vector, field: str) -> Interval:
    """Slope of a straight line with its 95 % interval.

    :raises BuildSheetError: rows at one place, or a slope that is not upwards.
    """
    if float(np.ptp(x)) <= 0.0:
        raise BuildSheetError("all rows are at one place.", remedy="Read at two different loads or more.", field=field)
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    rest = y - y.mean() - slope * dx
    freedom = max(len(x) - 2, 0)
    # Two rows have no rest to judge by: five percent, as is usual for this measurement.
    error = math.sqrt(float(rest @ rest) / freedom / float(dx @ dx)) if freedom else 0.025 * abs(slope)
    factor = float(student.ppf(0.975, freedom)) if freedom else 1.96
    if slope <= 0.0:
        raise BuildSheetError("more load gives less travel here.",
                              remedy="Each row is (load, travel): check the order and the numbers.", field=field)
    return Interval.around(slope, error, factor)


def mapped(interval: Interval, function: Any) -> Interval:
    """Carry an interval through a monotone function."""
    low, high = sorted((float(function(interval.low)), float(function(interval.high))))
    value = float(function(interval.value))
    nudge = 1e-6 * max(abs(interval.value), interval.uncertainty, 1e-9)
    slope = (function(interval.value + nudge) - function(interval.value - nudge)) / (2 * nudge)
    return Interval(value, abs(float(slope)) * interval.uncertainty, low, high)
