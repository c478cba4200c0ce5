"""What one trial says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

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
    """rad, smallest tip-over margin between start and end."""
    margin_p5: float
    """rad, 5th percentile over time."""
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
    trace: Trace | None = None
