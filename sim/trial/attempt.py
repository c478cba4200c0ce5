"""A whole attempt, look by look: settle, drive, referee and measures, compiled with the steps between looks."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import (
    M_ENERGY,
    M_HULL_HITS,
    M_MOTOR_SPEED,
    M_PEAK_CURRENT,
    M_SATURATED,
    M_SINK,
    U_BRAKE,
    U_DUTY,
    U_STEER,
)
from sim.physics.compiled import kernel
from sim.physics.forces import CONTROLS, HULL_BRISTLES, MEMORY, MODEL, MOTION, WHEELS, ForceArguments
from sim.physics.observe import V_CG_VEL, V_MARGIN, V_S, V_SPEED, observe
from sim.physics.stepping import run_steps
from sim.physics.vector import size, vec
from sim.trial.driver import LOOK, decide, steer, throttle
from sim.trial.referee import GOING_ON, ROLLED, verdict
from sim.trial.rows import (
    B_RADIUS,
    B_REACH,
    BEATEN,
    DRIVING,
    N_CODE,
    N_LEAST,
    N_LOOKS,
    N_LOW,
    N_MOVE,
    N_PHASE,
    N_SLIDE,
    N_SLIP,
    N_SLIPPED,
    N_SLIPS,
    N_SPEED,
    N_TIME,
    N_TOP_SLIDE,
    N_TOP_SPEED,
    OVER,
    REVERSE,
    SETTLING,
    STARTING,
)

Array = NDArray[np.float64]
SETTLE_SHORTEST, SETTLE_LONGEST, SETTLED_SPEED = 0.2, 1.5, 2.0e-3
"""s, s, m/s: a truck set down waits, brake on, until it is at rest on its springs and tyres."""
SPEED_TIME = 0.1
"""s over which speeds are averaged before their highest counts."""
SLIP_SHARE = 0.02
"""Share of a look in the slip of late."""
LOW_SHARE = 0.05
"""Share of the time that the margin is below its low percentile."""


@kernel
def act(notes: Array, brief: Array, view: Array, tread: float, controls: Array) -> None:
    """The driver's part of a look: throttle, steering and brake from what he saw; ``tread`` m/s."""
    if notes[N_PHASE] != DRIVING:
        controls[U_DUTY] = controls[U_STEER] = 0.0
        controls[U_BRAKE] = 1.0
        return
    decide(notes, brief, view[V_S], tread)
    controls[U_STEER] = steer(notes, brief, view)
    controls[U_DUTY] = throttle(notes, brief, tread)
    controls[U_BRAKE] = 1.0 if notes[N_MOVE] == BEATEN else 0.0


@kernel
def judge(
    notes: Array, brief: Array, view: Array, margins: Array, tread: float, memory: Array, wheels: Array
) -> None:
    """The referee's part of a look, after the steps: measure, then say whether this phase is over."""
    phase = notes[N_PHASE]
    notes[N_LOOKS] += 1.0
    if phase == SETTLING:
        time = notes[N_LOOKS] * LOOK
        still = time >= SETTLE_SHORTEST and size(vec(view, V_CG_VEL)) < SETTLED_SPEED
        if still or time >= SETTLE_LONGEST - 0.5 * LOOK:
            memory[M_HULL_HITS] = memory[M_ENERGY] = memory[M_SATURATED] = memory[M_PEAK_CURRENT] = 0.0
            memory[M_SINK] = 0.0
            notes[N_PHASE], notes[N_LOOKS] = STARTING, 0.0
        return
    if phase == STARTING:
        notes[N_PHASE], notes[N_LOOKS] = DRIVING, 0.0
        return
    notes[N_TIME] += LOOK
    measure(notes, view, tread, margins)
    code = verdict(notes, brief, view, memory, wheels)
    if code != GOING_ON:
        notes[N_CODE], notes[N_PHASE] = code, OVER
        close(notes, margins)


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


@kernel
def attempt(
    looks: int, steps: int, present: Array, gravity: Array, step: float, work: Array, matrix: Array, result: Array,
    notes: Array, brief: Array, margins: Array, lane: Array, contact: Array, support: Array, view: Array,
    arguments: ForceArguments,
) -> None:  # fmt: skip
    """Go on with an attempt for a number of looks of ``steps`` steps each, or until it is over.

    ``present`` to ``result`` and ``arguments`` as for :func:`sim.physics.stepping.run_steps`, ``lane`` to ``view`` as
    for :func:`sim.physics.observe.observe`, the rows as in :mod:`sim.trial.rows`; ``margins`` has room for one a look.
    """
    model, motion, memory, wheels = arguments[MODEL], arguments[MOTION], arguments[MEMORY], arguments[WHEELS]
    for _ in range(looks):
        if notes[N_PHASE] == OVER:
            return
        tread = memory[M_MOTOR_SPEED] / model.drive.rear * brief[B_RADIUS]
        act(notes, brief, view, tread, arguments[CONTROLS])
        due = 0 if notes[N_PHASE] == STARTING else steps
        run_steps(due, present, gravity, step, work, matrix, result, arguments)
        observe(
            model.body, motion, wheels, lane, brief[B_REACH], LOOK, gravity, contact, model.hull,
            arguments[HULL_BRISTLES], support, view,
        )  # fmt: skip
        judge(notes, brief, view, margins, tread, memory, wheels)
