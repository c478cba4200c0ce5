"""The referee: says when a trial is over, how it ended and why. Outcomes exclude each other."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from sim.physics.arrays import M_ENERGY, M_HULL_LOAD, M_HULL_LOAD_AXLE, W_NORMAL
from sim.physics.compiled import kernel
from sim.physics.observe import V_CG, V_CG_VEL, V_FINITE, V_LEFT_Z, V_NOSE, V_S, V_SIDE, V_UP, V_WHEELS
from sim.physics.vector import size, vec
from sim.trial.result import Outcome
from sim.trial.rows import (
    B_FINISH,
    B_FLOOR,
    B_LANE,
    B_PACE,
    B_TIME_LIMIT,
    B_WEIGHT,
    B_WHEELBASE,
    BEATEN,
    N_ENERGY,
    N_FAR,
    N_FAST_SINCE,
    N_LOW_SINCE,
    N_MOVE,
    N_SLIDE,
    N_SLIP,
    N_TIME,
    REVERSE,
)

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


VERDICTS: tuple[tuple[Outcome, str], ...] = (
    ("invalid", "not decided"),
    ("invalid", "state not finite"),
    ("invalid", "faster than anything moves here"),
    ("invalid", "more energy than the pack gave"),
    ("invalid", "left the ground"),
    ("rolled", "tipped back"),
    ("rolled", "nosed over"),
    ("rolled", "tipped right"),
    ("rolled", "tipped left"),
    ("slid", "slid down"),
    ("slid", "slid sideways"),
    ("slid", "left the lane"),
    ("slid", "slid back"),
    ("cleared", "crossed the finish"),
    ("stuck", "belly hung"),
    ("stuck", "axle hung"),
    ("stuck", "wheels in the air"),
    ("stuck", "tyres slipped"),
    ("stuck", "drive stalled"),
    ("timeout", "time ran out"),
)
"""Outcome and reason by the code that the kernels give."""
(
    GOING_ON, NOT_FINITE, TOO_FAST, TOO_MUCH_ENERGY, FELL_OFF, TIPPED_BACK, NOSED_OVER, TIPPED_RIGHT, TIPPED_LEFT,
    SLID_DOWN, SLID_SIDEWAYS, LEFT_LANE, SLID_BACKWARDS, CLEARED, BELLY_HUNG, AXLE_HUNG, IN_THE_AIR, SLIPPED, STALLED,
    TIMED_OUT,
) = range(20)  # fmt: skip
ROLLED = (TIPPED_BACK, TIPPED_LEFT)
"""First and last code of a truck that went over."""


@kernel
def verdict(notes: Array, brief: Array, view: Array, memory: Array, wheels: Array) -> int:
    """Code of outcome and reason once the trial is decided, else 0 (GOING_ON).

    ``notes`` and ``brief``: rows of :mod:`sim.trial.rows`; ``view``: what :func:`sim.physics.observe.observe` filled.
    """
    time, along, side = notes[N_TIME], view[V_S], view[V_SIDE]
    blown = _blown_up(notes, brief, view, memory)
    if blown != GOING_ON:
        return blown
    if view[V_CG + 2] < brief[B_FLOOR]:
        return FELL_OFF
    over = _over(notes, view)
    if over != GOING_ON:
        return over
    if notes[N_SLIDE] <= brief[B_PACE]:
        notes[N_FAST_SINCE] = -1.0
    elif notes[N_FAST_SINCE] < 0.0:
        notes[N_FAST_SINCE] = time
    elif time - notes[N_FAST_SINCE] > SLIDE_TIME:
        return SLID_DOWN
    if along >= brief[B_FINISH]:
        return CLEARED
    notes[N_FAR] = max(notes[N_FAR], along)
    # A truck that is going over is judged by how it lands, not by where.
    if abs(side) > brief[B_LANE] and view[V_WHEELS] > 0.0:
        return SLID_SIDEWAYS if side * view[V_LEFT_Z] < -0.05 * abs(side) else LEFT_LANE
    if notes[N_MOVE] != REVERSE and along < notes[N_FAR] - SLID_BACK * brief[B_WHEELBASE]:
        return SLID_BACKWARDS
    if notes[N_MOVE] == BEATEN:
        return _why_stuck(memory, wheels, brief[B_WEIGHT], notes[N_SLIP])
    return TIMED_OUT if time > brief[B_TIME_LIMIT] else GOING_ON


@kernel
def _blown_up(notes: Array, brief: Array, view: Array, memory: Array) -> int:
    """What no truck can do, whatever it would count as: then the solution is no solution."""
    speed = size(vec(view, V_CG_VEL))
    if view[V_FINITE] != 0.0 or not math.isfinite(speed + view[V_S] + view[V_CG + 2]):
        return NOT_FINITE
    if speed > SANE_SPEED:
        return TOO_FAST
    weight = brief[B_WEIGHT]
    # A fall is paid for by height; what is left over must have come from the pack.
    energy = 0.5 * (weight / GRAVITY) * (speed * speed) + weight * view[V_CG + 2] - memory[M_ENERGY]
    if math.isnan(notes[N_ENERGY]):
        notes[N_ENERGY] = energy
    return TOO_MUCH_ENERGY if energy > notes[N_ENERGY] + ENERGY_SLACK * weight * brief[B_WHEELBASE] else GOING_ON


@kernel
def _over(notes: Array, view: Array) -> int:
    time = notes[N_TIME]
    low = view[V_WHEELS] < ROLLED_MARGIN
    if not low:
        notes[N_LOW_SINCE] = -1.0
    elif notes[N_LOW_SINCE] < 0.0:
        notes[N_LOW_SINCE] = time
    gone = low and time - notes[N_LOW_SINCE] > ROLLED_TIME
    if view[V_UP] > ROLLED_UP and not gone:
        return GOING_ON
    if abs(view[V_NOSE]) > abs(view[V_LEFT_Z]):
        return TIPPED_BACK if view[V_NOSE] > 0.0 else NOSED_OVER
    return TIPPED_RIGHT if view[V_LEFT_Z] > 0.0 else TIPPED_LEFT


@kernel
def _why_stuck(memory: Array, wheels: Array, weight: float, slip: float) -> int:
    if memory[M_HULL_LOAD] > HANG_SHARE * weight:
        return BELLY_HUNG
    if memory[M_HULL_LOAD_AXLE] > HANG_SHARE * weight:
        return AXLE_HUNG
    carrying = 0
    for wheel in range(4):
        if wheels[wheel, W_NORMAL] > 0.02 * weight:
            carrying += 1
    if carrying < 3:
        return IN_THE_AIR
    return SLIPPED if slip > SLIPPING else STALLED
