"""The hand on the radio: follows the lane, crawls, backs off and bumps when stuck.

A driver is data; its policy is the same small set of moves that people make. Every named driver and every number
in it is part of a trial's key. Speeds are in wheelbases per second, so that one driver fits every scale
(0.8 is 0.1 m/s for a 1/24 and 0.25 m/s for a 1/10; common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimError
from sim.physics.observe import V_BEARING, V_LEFT_Z, V_LOAD, V_S

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Driver:
    """How somebody drives."""

    name: str
    crawl_speed: float = 0.8
    """Wheelbases per second of tread speed."""
    descent_speed: float = 0.5
    bump_speed: float = 2.0
    bumps: int = 0
    """How often he backs off and tries again with more speed before giving up."""
    patience: float = 1.6
    """s without progress before he does something about it."""
    back_off: float = 0.35
    """Wheelbases of tread travel backwards before a bump."""
    look_ahead: float = 1.1
    """Wheelbases to the point he steers for."""
    reaction: float = 0.15
    """s from seeing to steering."""
    sidestep: float = 0.0
    """Share of the track by which he moves sideways between tries: left, right, then on the line again."""
    light: float = 0.0
    """Share of a quarter of the weight; with less on a wheel of the uphill side he steers down the fall line."""


DRIVERS = {
    driver.name: driver
    for driver in (
        Driver("steady"),
        Driver("bump", bumps=3),
        # Three tries on slightly different lines, as section judges allow (common practice, no source).
        Driver("patient", bumps=3, bump_speed=1.0, back_off=0.8, patience=2.2, sidestep=1.0 / 3.0, light=0.3),
        Driver("brisk", crawl_speed=1.6, descent_speed=0.8, bump_speed=3.0, bumps=2),
    )
}


def named(name: str) -> Driver:
    """The driver of that name; raises SimError for one that does not exist."""
    try:
        return DRIVERS[name]
    except KeyError:
        raise SimError(
            "no such driver", field="driver", value=name, remedy=f"Choose one of: {', '.join(sorted(DRIVERS))}"
        ) from None


PROGRESS = 0.02
"""Wheelbases that count as getting on."""
LEANING = 0.15
"""Sine of the side slope from which there is a fall line to steer for."""
DOWNHILL_STEER = math.radians(20.0)
"""Steering towards the fall line of one who feels a wheel go light (assumed)."""
SPEED_GAIN = 0.4
"""Share of a speed error that the throttle answers at once; a small motor follows within one look, so this loop
needs it below one."""
SPEED_MEMORY = 10.0
"""1/s; the rest is wound on at this rate, as a finger pulls until the truck moves."""


@dataclass
class Hands:
    """A driver at work in one trial."""

    driver: Driver
    wheelbase: float
    descending: bool
    track: float = 0.0
    weight: float = math.inf
    move: str = "crawl"
    """crawl, reverse, bump or beaten."""
    best: float = -math.inf
    best_time: float = 0.0
    bumps_left: int = 0
    _move_time: float = 0.0
    _tread: float = 0.0
    _memory: float = 0.0
    _steer: float = 0.0
    _steer_queue: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start with all bumps in hand."""
        self.bumps_left = self.driver.bumps

    def steer(self, view: Array, interval: float) -> float:
        """Pure pursuit of the lane from the rear axle (Coulter 1992), delayed by the reaction time; rad."""
        reach = self.driver.look_ahead * self.wheelbase
        aim = view[V_BEARING] + math.atan2(self.aside(), reach) if self.driver.sidestep else view[V_BEARING]
        wanted = math.atan2(2.0 * self.wheelbase * math.sin(aim), reach)
        if self.driver.light and self.feels_light(view):
            wanted = -math.copysign(DOWNHILL_STEER, view[V_LEFT_Z])
        self._steer_queue.append(wanted)
        delay = max(round(self.driver.reaction / interval), 0)
        if len(self._steer_queue) > delay:
            self._steer = self._steer_queue.pop(0)
        return -self._steer if self.move == "reverse" else self._steer

    def aside(self) -> float:
        """m to the left of the lane that this try is driven."""
        tried = self.driver.bumps - self.bumps_left
        return self.driver.sidestep * self.track * (0.0, 1.0, -1.0)[tried % 3]

    def feels_light(self, view: Array) -> bool:
        """Whether a wheel on the uphill side has lost most of its load on a side slope."""
        if abs(view[V_LEFT_Z]) < LEANING:
            return False
        uphill = (0, 2) if view[V_LEFT_Z] > 0.0 else (1, 3)
        return bool(min(view[V_LOAD + k] for k in uphill) < 0.25 * self.driver.light * self.weight)

    def wanted_speed(self) -> float:
        """Tread speed asked for, m/s."""
        speeds = {
            "crawl": self.driver.descent_speed if self.descending else self.driver.crawl_speed,
            "reverse": -self.driver.crawl_speed,
            "bump": self.driver.bump_speed,
            "beaten": 0.0,
        }
        return speeds[self.move] * self.wheelbase

    def decide(self, time: float, view: Array, tread_speed: float, interval: float) -> None:
        """Choose the next move from the progress made."""
        self._tread += tread_speed * interval
        along = view[V_S]
        if along > self.best + PROGRESS * self.wheelbase:
            self.best, self.best_time = along, time
            if self.move == "bump":
                self._start("crawl", time)
        if self.move == "reverse":
            if self._tread < -self.driver.back_off * self.wheelbase or time - self._move_time > self.driver.patience:
                self._start("bump", time)
        elif time - max(self.best_time, self._move_time) > self.driver.patience:
            self._give_it_a_bump(time)

    def _give_it_a_bump(self, time: float) -> None:
        if self.bumps_left == 0:
            self._start("beaten", time)
            return
        self.bumps_left -= 1
        self._start("reverse", time)

    def _start(self, move: str, time: float) -> None:
        self.move, self._move_time, self._tread, self._memory = move, time, 0.0, 0.0

    def throttle(self, tread_speed: float, top_speed: float, interval: float) -> float:
        """Duty (-1 to 1) that brings the tread to the wanted speed: feed-forward plus proportional and integral."""
        wanted = self.wanted_speed()
        error = (wanted - tread_speed) / top_speed
        self._memory = min(max(self._memory + SPEED_MEMORY * error * interval, -1.0), 1.0)
        return min(max(wanted / top_speed + SPEED_GAIN * error + self._memory, -1.0), 1.0)
