"""What is measured while a truck drives, and how it comes out of an attempt: a new measure begins here.

Its place in the notes, how it grows at every look or at the end, and its SI number in :func:`result_of`; its name, unit
and factor are in :mod:`sim.trial.result`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_ENERGY, M_HULL_HITS, M_PEAK_CURRENT, M_SATURATED, M_SINK
from sim.physics.compiled import kernel
from sim.physics.observe import V_MARGIN, V_SPEED
from sim.trial.driver import LOOK
from sim.trial.referee import ROLLED, VERDICTS
from sim.trial.result import TrialResult
from sim.trial.rows import (
    BEATEN,
    N_CODE,
    N_FAR,
    N_LOOKS,
    N_MEASURES,
    N_MOVE,
    N_SEEN,
    N_SLIDE,
    N_SLIP,
    N_SPEED,
    N_TIME,
    REVERSE,
)

Array = NDArray[np.float64]
# Highest speed and slide, sum and number of driven slips, least and 5th percentile of the margin.
N_TOP_SPEED, N_TOP_SLIDE, N_SLIPS, N_SLIPPED, N_LEAST, N_LOW = range(N_MEASURES, N_MEASURES + 6)
assert N_LOW < N_SEEN
SPEED_TIME = 0.1
"""s over which speeds are averaged before their highest counts."""
SLIP_SHARE = 0.02
"""Share of a look in the slip of late."""
LOW_SHARE = 0.05
"""Share of the time that the margin is below its low percentile."""


@kernel
def measure(notes: Array, view: Array, tread: float, margins: Array) -> None:
    """Note margin, slip and speeds of one look; ``tread`` m/s is what the driver acted on."""
    margins[int(notes[N_LOOKS]) - 1] = view[V_MARGIN]
    speed = view[V_SPEED]
    slip = slip_share(speed, tread)
    if notes[N_MOVE] != REVERSE and notes[N_MOVE] != BEATEN:
        notes[N_SLIPS] += slip
        notes[N_SLIPPED] += 1.0
    notes[N_SLIP] += SLIP_SHARE * (slip - notes[N_SLIP])
    notes[N_SPEED] += (speed - notes[N_SPEED]) * LOOK / SPEED_TIME
    notes[N_SLIDE] += (speed - tread - notes[N_SLIDE]) * LOOK / SPEED_TIME
    notes[N_TOP_SPEED] = max(notes[N_TOP_SPEED], abs(notes[N_SPEED]))
    notes[N_TOP_SLIDE] = max(notes[N_TOP_SLIDE], notes[N_SLIDE])


@kernel
def slip_share(ground_speed: float, tread_speed: float) -> float:
    """Share of the tread's speed that does not move the truck, 0 to 1; 0 while the tread stands."""
    if tread_speed < 1.0e-3:
        return 0.0
    return min(max(1.0 - ground_speed / tread_speed, 0.0), 1.0)


@kernel
def close(notes: Array, margins: Array) -> None:
    """Sum the margins up: least and low percentile. Past the point of no return no truck has any left."""
    count = int(notes[N_LOOKS])
    least = margins[0]
    for k in range(1, count):
        least = min(least, margins[k])
    low = percentile(margins, count, LOW_SHARE)
    over = ROLLED[0] <= notes[N_CODE] <= ROLLED[1]
    notes[N_LEAST] = 0.0 if over else least
    notes[N_LOW] = max(low, 0.0) if over else low


@kernel
def percentile(values: Array, count: int, share: float) -> float:
    """Value below which a share of the first ``count`` lies, linear between neighbours; puts them into another order.

    R. J. Hyndman and Y. Fan, Sample quantiles in statistical packages, Am. Stat. 50 (1996), definition 7 (from memory).
    """
    place = (count - 1) * share
    k = int(math.floor(place))
    part = place - k
    # Hoare's selection: the k + 1 smallest go to the front.
    low, high = 0, count - 1
    while low < high:
        pivot = values[k]
        i, j = low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while pivot < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if j < k:
            low = i
        if k < i:
            high = j
    first = values[k]
    if k + 1 == count:
        return first
    second = values[k + 1]
    for i in range(k + 2, count):
        second = min(second, values[i])
    rise = second - first
    return first + rise * part if part < 0.5 else second - rise * (1.0 - part)


def result_of(notes: Array, memory: Array, along: float) -> TrialResult:
    """What the notes of an attempt that is over say, with the memory of the force elements and the place in m."""
    outcome, reason = VERDICTS[int(notes[N_CODE])]
    return TrialResult(
        outcome=outcome,
        reason=reason,
        time=float(notes[N_TIME]),
        distance=float(max(notes[N_FAR], along)) if np.isfinite(along) else 0.0,
        min_margin=float(notes[N_LEAST]),
        margin_p5=float(notes[N_LOW]),
        slip=float(notes[N_SLIPS] / notes[N_SLIPPED]) if notes[N_SLIPPED] else 0.0,
        belly_strikes=int(memory[M_HULL_HITS]),
        peak_current=float(memory[M_PEAK_CURRENT]),
        servo_saturation=float(memory[M_SATURATED] / notes[N_TIME]),
        energy=float(memory[M_ENERGY]),
        max_sink=float(memory[M_SINK]),
        top_speed=float(notes[N_TOP_SPEED]),
        top_slide=float(notes[N_TOP_SLIDE]),
    )
