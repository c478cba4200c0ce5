"""Ramp travel index: how far one front wheel climbs a 20 degree ramp before the first tyre lifts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.equilibrium import NoRestError, Rest, RestingTruck
from models.rigid import RigidModel

RAMP = math.radians(20.0)
_STEPS = 60


@dataclass(frozen=True)
class RampTravel:
    """Outcome of driving one front wheel up the ramp."""

    index: float
    """Distance along the ramp over the wheelbase times 1000."""
    rise: float
    """m that the climbing wheel has risen."""
    lifts: str
    """The tyre that lifts first."""


def ramp_index(rise: float, wheelbase: float, ramp: float = RAMP) -> float:
    """Ramp travel index of a wheel that has risen so far: ``1000 rise / sin(ramp) / wheelbase`` (common practice)."""
    return 1000.0 * rise / math.sin(ramp) / wheelbase


def ramp_travel(model: RigidModel) -> RampTravel:
    """Raise the left front wheel until another tyre carries nothing, on springs, stops and tyres at rest.

    Left out: the wheel's pull on the ramp, tyres leaning on their edges, and links that bind.
    """
    truck = RestingTruck(model)
    names = ("front left", "front right", "rear left", "rear right")
    last = truck.rest(np.zeros(4))
    step = 0.6 * model.wheelbase / _STEPS
    good, bad = 0.0, None
    found = "none within reach"
    while bad is None or bad - good > 1e-5 * model.wheelbase:
        rise = good + step if bad is None else 0.5 * (good + bad)
        if rise > 0.7 * model.wheelbase:
            break
        try:
            now = _raised(truck, good, rise, last)
        except NoRestError:
            # A solver that fails is no tyre that lifts: there is nothing to tell.
            return RampTravel(math.nan, math.nan, "no position of rest found")
        if now.loads.min() <= 0.0:
            bad, found = rise, names[int(np.argmin(now.loads))]
        else:
            good, last = rise, now
    return RampTravel(ramp_index(good, model.wheelbase), good, found)


def _raised(truck: RestingTruck, low: float, high: float, start: Rest) -> Rest:
    """Rest with the left front wheel raised from ``low`` to ``high`` m, in finer steps where one does not get there.

    :raises NoRestError: not even in 256 steps.
    """
    for steps in (1, 4, 16, 64, 256):
        now = start
        try:
            for rise in np.linspace(low, high, steps + 1)[1:]:
                now = truck.rest(np.array([rise, 0.0, 0.0, 0.0]), now)
        except NoRestError:
            continue
        return now
    raise NoRestError("no position of rest")
