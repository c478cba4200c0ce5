"""What one trial says."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

DEG = 180.0 / math.pi
Outcome = Literal["cleared", "rolled", "stuck", "slid", "timeout", "invalid"]
OUTCOMES: tuple[Outcome, ...] = ("cleared", "rolled", "stuck", "slid", "timeout", "invalid")


@dataclass(frozen=True)
class Trace:
    """Samples at a fixed interval for replay and pictures."""

    interval: float
    """s."""
    time: NDArray[np.float64]
    """(n,) s."""
    base: NDArray[np.float64]
    """(n, 7) chassis frame origin x y z (m) and quaternion x y z w in the world."""
    joints: NDArray[np.float64]
    """(n, 10) joint positions in the order of models.rigid.BODY_NAMES[1:]; rad or m."""
    wheel_force: NDArray[np.float64]
    """(n, 4, 3) ground force on each tyre, world, N."""
    wheel_contact: NDArray[np.float64]
    """(n, 4, 3) centre of each contact patch (lowest tread point when lifted), world, m."""
    margin: NDArray[np.float64]
    """(n,) tip-over margin, rad."""
    extra: NDArray[np.float64]
    """(n, 4) lane distance m, front-wheel command rad, motor current A, battery voltage V."""


@dataclass(frozen=True)
class TrialResult:
    """Outcome and measures of one trial; SI."""

    outcome: Outcome
    reason: str
    """One of the reason codes in sim.trial.referee, e.g. ``tipped back``, ``belly hung``, ``tyres slipped``."""
    time: float
    distance: float
    """m along the lane reached by the CG."""
    min_margin: float
    """rad, smallest tip-over margin between start and end; 0 for a truck that went over."""
    margin_p5: float
    """rad, 5th percentile over time, not below 0 for a truck that went over."""
    slip: float
    """Mean over driven time of 1 - ground speed / tread speed, 0 to 1."""
    belly_strikes: int
    peak_current: float
    servo_saturation: float
    """Share of time that the servo was at its stall torque."""
    energy: float
    """J taken from the pack."""
    max_sink: float
    """m, deepest tyre shortening."""
    top_speed: float = 0.0
    """m/s, fastest over the ground along the truck, averaged over a tenth of a second."""
    top_slide: float = 0.0
    """m/s, fastest that the truck slid over its own tread, averaged likewise."""
    trace: Trace | None = None


def _bench(source: str, factor: float = 1.0, default: float | None = None) -> Any:
    """A measure as the bench writes it: the attribute of :class:`TrialResult` it comes from, times a factor."""
    metadata = {"source": source, "factor": factor}
    return field(metadata=metadata) if default is None else field(default=default, metadata=metadata)


@dataclass(frozen=True)
class Record:
    """Outcome and measures of one trial in the units of the bench, as kept in the store.

    The one list of measures: the store's columns, the tables and the JSON follow it by themselves.
    """

    outcome: str
    reason: str
    time_s: float = _bench("time")
    distance_mm: float = _bench("distance", 1e3)
    min_margin_deg: float = _bench("min_margin", DEG)
    margin_p5_deg: float = _bench("margin_p5", DEG)
    slip: float = _bench("slip")
    belly_strikes: int = _bench("belly_strikes")
    peak_current_a: float = _bench("peak_current")
    servo_saturation: float = _bench("servo_saturation")
    energy_j: float = _bench("energy")
    max_sink_mm: float = _bench("max_sink", 1e3)
    top_speed_mps: float = _bench("top_speed", default=0.0)
    top_slide_mps: float = _bench("top_slide", default=0.0)

    @property
    def cleared(self) -> bool:
        """Whether the trial counts as a success."""
        return self.outcome == "cleared"


RECORD_COLUMNS: tuple[str, ...] = tuple(f.name for f in fields(Record))
_MEASURES = tuple(f for f in fields(Record) if f.metadata)


def record(result: TrialResult) -> Record:
    """Convert a result from SI; a number that is not finite makes the whole trial ``invalid``."""
    numbers: dict[str, Any] = {}
    for measure in _MEASURES:
        value = getattr(result, measure.metadata["source"])
        numbers[measure.name] = value if measure.type == "int" else float(value) * measure.metadata["factor"]
    if result.outcome == "invalid" or all(math.isfinite(x) for x in numbers.values()):
        return Record(result.outcome, result.reason, **numbers)
    return Record("invalid", "not a finite number", **numbers)
