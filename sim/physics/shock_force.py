"""Springs, dampers and stops between chassis and axles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import Motion, Shocks
from sim.physics.compiled import kernel
from sim.physics.vector import Vec, add_wrench, at, dot, minus, over, plus, plus_cross, size, times, turn_at

Array = NDArray[np.float64]


@kernel
def shock_force(shock: Shocks, k: int, length: float, stretch_speed: float) -> float:
    """Push (positive) or pull of one shock along its line, N.

    The spring pushes only; the stops act both ways at the ends of the travel; the damper both ways in between.
    """
    shortening = shock.length[k] - length
    force = max(shock.force[k] + shock.rate[k] * shortening, 0.0) - shock.damping[k] * stretch_speed
    if shortening > shock.bump[k]:
        force += shock.stop[k] * (shortening - shock.bump[k])
    elif shortening < -shock.droop[k]:
        force += shock.stop[k] * (shortening + shock.droop[k])
    return force


@kernel
def _eye(motion: Motion, body: int, place: Vec) -> tuple[Vec, Vec]:
    """Place and velocity of a point of a body."""
    arm = turn_at(motion.rotation, body, place)
    return plus(at(motion.origin, body), arm), plus_cross(at(motion.velocity, body), at(motion.spin, body), arm)


@kernel
def shock_forces(shock: Shocks, motion: Motion, wrench: Array) -> None:
    """Add every shock's equal and opposite forces to the chassis and its axle."""
    for k in range(shock.rate.shape[0]):
        a = shock.axle_body[k]
        upper, upper_speed = _eye(motion, 0, at(shock.chassis, k))
        lower, lower_speed = _eye(motion, a, at(shock.axle, k))
        line = minus(upper, lower)
        length = size(line)
        line = over(line, length)
        force = times(shock_force(shock, k, length, dot(minus(upper_speed, lower_speed), line)), line)
        add_wrench(wrench, 0, motion.origin, upper, force)
        add_wrench(wrench, a, motion.origin, lower, times(-1.0, force))
