"""The referee: says when a trial is over, how it ended and why. Outcomes exclude each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from sim.physics.arrays import M_ENERGY, M_HULL_LOAD, M_HULL_LOAD_AXLE, W_NORMAL
from sim.physics.observe import V_CG, V_CG_VEL, V_FINITE, V_LEFT_Z, V_NOSE, V_S, V_SIDE, V_UP, V_WHEELS
from sim.trial.result import Outcome

Array = NDArray[np.float64]

ROLLED_UP = math.cos(math.radians(88.0))
"""Vertical part of the chassis' up axis below which it lies on its side, back or nose."""
ROLLED_MARGIN = math.radians(-25.0)
"""A margin this far below zero for ROLLED_TIME is past the point of return, before the roof has landed."""
ROLLED_TIME = 0.15
SLID_BACK = 1.0
"""Wheelbases lost from the best place on the lane while driving forward."""
HANG_SHARE = 0.15
"""Share of the weight on hard parts that counts as hanging on them."""
SLIPPING = 0.6
"""Slip above which a stuck truck was short of grip rather than of torque."""
SANE_SPEED = 20.0
"""m/s; nothing here moves this fast: the solution has blown up."""
WALKING_PACE = 1.4
"""m/s of a person on foot, full size; shrunk with the square root of the scale, as all speeds under gravity are
(comfortable gait, from memory)."""
SLIDE_TIME = 0.2
"""s that a truck must slide faster than that: longer than any drop off a ledge of a tyre's height."""
ENERGY_SLACK = 2.0
"""Weights times wheelbases of energy that may appear from springs, tyres and the rounding of one look; a truck that
was thrown higher or faster than that was thrown by the solver (assumed)."""


@dataclass
class Referee:
    """Watches one trial."""

    weight: float
    """N."""
    wheelbase: float
    finish_s: float
    lane_half_width: float
    time_limit: float
    floor: float
    """m, below which the truck has left the ground."""
    pace: float
    """m/s: a descent on which the truck slides faster than this is not driven."""
    _low_since: float = -1.0
    _energy: float | None = None
    """J that the truck had at the first look."""
    _fast_since: float = -1.0
    best: float = -math.inf

    def verdict(
        self, time: float, view: Array, memory: Array, wheels: Array, move: str, slip: float, slide: float
    ) -> tuple[Outcome, str] | None:
        """Outcome and reason code once the trial is decided, else None; ``slide``: m/s faster than the tread."""
        blown = self._blown_up(view, memory)
        if blown:
            return "invalid", blown
        if view[V_CG + 2] < self.floor:
            return "invalid", "left the ground"
        over = self._over(time, view)
        if over:
            return "rolled", over
        if slide <= self.pace:
            self._fast_since = -1.0
        elif self._fast_since < 0.0:
            self._fast_since = time
        elif time - self._fast_since > SLIDE_TIME:
            return "slid", "slid down"
        if view[V_S] >= self.finish_s:
            return "cleared", "crossed the finish"
        self.best = max(self.best, view[V_S])
        # A truck that is going over is judged by how it lands, not by where.
        if abs(view[V_SIDE]) > self.lane_half_width and view[V_WHEELS] > 0.0:
            downhill = view[V_SIDE] * view[V_LEFT_Z] < -0.05 * abs(view[V_SIDE])
            return "slid", "slid sideways" if downhill else "left the lane"
        if move != "reverse" and view[V_S] < self.best - SLID_BACK * self.wheelbase:
            return "slid", "slid back"
        if move == "beaten":
            return "stuck", self._why_stuck(memory, wheels, slip)
        if time > self.time_limit:
            return "timeout", "time ran out"
        return None

    def _blown_up(self, view: Array, memory: Array) -> str:
        """What no truck can do, whatever it would count as: then the solution is no solution."""
        speed = float(np.linalg.norm(view[V_CG_VEL : V_CG_VEL + 3]))
        if view[V_FINITE] != 0.0 or not math.isfinite(speed + view[V_S] + view[V_CG + 2]):
            return "state not finite"
        if speed > SANE_SPEED:
            return "faster than anything moves here"
        mass = self.weight / GRAVITY
        # A fall is paid for by height; what is left over must have come from the pack.
        energy = 0.5 * mass * speed**2 + self.weight * view[V_CG + 2]
        spent = float(memory[M_ENERGY])
        if self._energy is None:
            self._energy = energy - spent
        if energy - spent > self._energy + ENERGY_SLACK * self.weight * self.wheelbase:
            return "more energy than the pack gave"
        return ""

    def _over(self, time: float, view: Array) -> str:
        low = view[V_WHEELS] < ROLLED_MARGIN
        if not low:
            self._low_since = -1.0
        elif self._low_since < 0.0:
            self._low_since = time
        gone = low and time - self._low_since > ROLLED_TIME
        if view[V_UP] > ROLLED_UP and not gone:
            return ""
        if abs(view[V_NOSE]) > abs(view[V_LEFT_Z]):
            return "tipped back" if view[V_NOSE] > 0.0 else "nosed over"
        return "tipped right" if view[V_LEFT_Z] > 0.0 else "tipped left"

    def _why_stuck(self, memory: Array, wheels: Array, slip: float) -> str:
        if memory[M_HULL_LOAD] > HANG_SHARE * self.weight:
            return "belly hung"
        if memory[M_HULL_LOAD_AXLE] > HANG_SHARE * self.weight:
            return "axle hung"
        if np.count_nonzero(wheels[:, W_NORMAL] > 0.02 * self.weight) < 3:
            return "wheels in the air"
        return "tyres slipped" if slip > SLIPPING else "drive stalled"
