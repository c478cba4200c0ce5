"""The hand on the radio: follows the lane, crawls, backs off and bumps when stuck.

A driver is data; its policy is the same small set of moves that people make. Every named driver and every number
in it is part of a trial's key. Speeds are in wheelbases per second, so that one driver fits every scale
(0.8 is 0.1 m/s for a 1/24 and 0.25 m/s for a 1/10; common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimError
from sim.physics.compiled import kernel
from sim.physics.observe import V_BEARING, V_LEFT_Z, V_LOAD
from sim.trial.rows import (
    B_ASIDE,
    B_BACK_OFF,
    B_BUMPS,
    B_DELAY,
    B_LIGHT,
    B_PATIENCE,
    B_REACH,
    B_SPEED,
    B_TOP_SPEED,
    B_WHEELBASE,
    BEATEN,
    BUMP,
    CRAWL,
    N_BEST,
    N_BEST_TIME,
    N_LOOKS,
    N_MOVE,
    N_MOVE_TIME,
    N_SEEN,
    N_STEER,
    N_TIME,
    N_TREAD,
    N_TRIED,
    N_WOUND,
    REVERSE,
)

Array = NDArray[np.float64]
LOOK = 0.01
"""s between looks of driver and referee."""


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


@kernel
def steer(notes: Array, brief: Array, view: Array) -> float:
    """Pure pursuit of the lane from the rear axle (Coulter 1992), delayed by the reaction time; rad.

    ``notes`` and ``brief``: rows of :mod:`sim.trial.rows`; ``view``: what :func:`sim.physics.observe.observe` filled.
    """
    reach = brief[B_REACH]
    aim = view[V_BEARING] + math.atan2(brief[B_ASIDE + int(notes[N_TRIED]) % 3], reach)
    wanted = math.atan2(2.0 * brief[B_WHEELBASE] * math.sin(aim), reach)
    if feels_light(brief[B_LIGHT], view):
        wanted = -math.copysign(DOWNHILL_STEER, view[V_LEFT_Z])
    delay = int(brief[B_DELAY])
    now = int(notes[N_LOOKS])
    notes[N_SEEN + now % (delay + 1)] = wanted
    if now >= delay:
        notes[N_STEER] = notes[N_SEEN + (now - delay) % (delay + 1)]
    return -notes[N_STEER] if notes[N_MOVE] == REVERSE else notes[N_STEER]


@kernel
def feels_light(light: float, view: Array) -> bool:
    """Whether a wheel on the uphill side of a side slope carries less than ``light`` N."""
    if light == 0.0 or abs(view[V_LEFT_Z]) < LEANING:
        return False
    first = 0 if view[V_LEFT_Z] > 0.0 else 1
    return min(view[V_LOAD + first], view[V_LOAD + first + 2]) < light


@kernel
def decide(notes: Array, brief: Array, along: float, tread_speed: float) -> None:
    """Choose the next move from the progress made: ``along`` m of the lane, the tread at ``tread_speed`` m/s."""
    time = notes[N_TIME]
    patience = brief[B_PATIENCE]
    notes[N_TREAD] += tread_speed * LOOK
    if along > notes[N_BEST] + PROGRESS * brief[B_WHEELBASE]:
        notes[N_BEST], notes[N_BEST_TIME] = along, time
        if notes[N_MOVE] == BUMP:
            _start(notes, CRAWL)
    if notes[N_MOVE] == REVERSE:
        if notes[N_TREAD] < -brief[B_BACK_OFF] or time - notes[N_MOVE_TIME] > patience:
            _start(notes, BUMP)
    elif time - max(notes[N_BEST_TIME], notes[N_MOVE_TIME]) > patience:
        if notes[N_TRIED] >= brief[B_BUMPS]:
            _start(notes, BEATEN)
        else:
            notes[N_TRIED] += 1.0
            _start(notes, REVERSE)


@kernel
def _start(notes: Array, move: int) -> None:
    notes[N_MOVE] = move
    notes[N_MOVE_TIME] = notes[N_TIME]
    notes[N_TREAD] = notes[N_WOUND] = 0.0


@kernel
def throttle(notes: Array, brief: Array, tread_speed: float) -> float:
    """Duty (-1 to 1) that brings the tread to the wanted speed: feed-forward plus proportional and integral."""
    wanted = brief[B_SPEED + int(notes[N_MOVE])]
    top_speed = brief[B_TOP_SPEED]
    error = (wanted - tread_speed) / top_speed
    notes[N_WOUND] = min(max(notes[N_WOUND] + SPEED_MEMORY * error * LOOK, -1.0), 1.0)
    return min(max(wanted / top_speed + SPEED_GAIN * error + notes[N_WOUND], -1.0), 1.0)
