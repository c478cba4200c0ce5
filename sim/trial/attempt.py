"""A whole attempt, look by look: settle, drive, referee and measures, compiled with the steps between looks."""

from __future__ import annotations

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
from sim.physics.lanes import ALONE, leads, meet
from sim.physics.observe import V_CG_VEL, V_S, observe
from sim.physics.stepping import run_steps
from sim.physics.vector import size, vec
from sim.trial.driver import LOOK, decide, steer, throttle
from sim.trial.measures import close, measure
from sim.trial.referee import GOING_ON, verdict
from sim.trial.rows import (
    B_RADIUS,
    B_REACH,
    BEATEN,
    DRIVING,
    N_CODE,
    N_LOOKS,
    N_MOVE,
    N_PHASE,
    N_TIME,
    OVER,
    SETTLING,
    STARTING,
)

Array = NDArray[np.float64]
SETTLE_SHORTEST, SETTLE_LONGEST, SETTLED_SPEED = 0.2, 1.5, 2.0e-3
"""s, s, m/s: a truck set down waits, brake on, until it is at rest on its springs and tyres."""


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
def attempt(
    looks: int, steps: int, present: Array, gravity: Array, step: float, work: Array, matrix: Array, result: Array,
    notes: Array, brief: Array, margins: Array, line: Array, contact: Array, support: Array, view: Array,
    arguments: ForceArguments, lane: int = ALONE,
) -> None:  # fmt: skip
    """Go on with an attempt for a number of looks of ``steps`` steps each, or until it is over.

    ``present`` to ``result`` and ``arguments`` as for :func:`sim.physics.stepping.run_steps`, ``line`` (the lane
    to drive along) to ``view`` as for :func:`sim.physics.observe.observe`, the rows as in :mod:`sim.trial.rows`;
    ``margins`` has room for one a look.
    """
    model, motion, memory, wheels = arguments[MODEL], arguments[MOTION], arguments[MEMORY], arguments[WHEELS]
    for _ in range(looks):
        if notes[N_PHASE] == OVER:
            return
        tread = memory[M_MOTOR_SPEED] / model.drive.rear * brief[B_RADIUS]
        due = 0 if notes[N_PHASE] == STARTING else steps
        if leads(lane):
            act(notes, brief, view, tread, arguments[CONTROLS])
        meet(lane)
        run_steps(due, present, gravity, step, work, matrix, result, arguments, lane)
        if leads(lane):
            observe(
                model.body, motion, wheels, line, brief[B_REACH], LOOK, gravity, contact, model.hull,
                arguments[HULL_BRISTLES], support, view,
            )  # fmt: skip
            judge(notes, brief, view, margins, tread, memory, wheels)
        meet(lane)
