"""Friction at the tip of a tyre spoke or hull feeler: a bristle that is held inside the friction cone."""

from __future__ import annotations

import math

from sim.physics.compiled import kernel
from sim.physics.vector import Vec, dot, minus, plus, times


@kernel
def grip_tip(
    bristle: Vec, elastic: Vec, normal: Vec, speed: Vec, dt: float, stiffness: float, damping: float, mu: float
) -> tuple[Vec, float, Vec]:
    """Add friction to an elastic contact force and hold the sum inside the cone.

    ``bristle`` is the tip's deflection along the ground so far, ``elastic`` the force on the body, ``normal`` the
    ground's, a unit vector, ``speed`` the body's velocity at the contact; all in the world. Returns the total force,
    its normal part and the new deflection.
    """
    load = dot(elastic, normal)
    if load <= 0.0:
        return (0.0, 0.0, 0.0), 0.0, (0.0, 0.0, 0.0)
    sliding = minus(speed, times(dot(speed, normal), normal))
    z = plus(bristle, times(dt, sliding))
    z = minus(z, times(dot(z, normal), normal))
    e = minus(elastic, times(load, normal))
    t = minus(minus(e, times(stiffness, z)), times(damping, sliding))
    square = dot(t, t)
    limit = mu * load
    if square > limit * limit:
        t = times(limit / math.sqrt(square), t)
        # The spring keeps what the dashpot does not carry, but never pulls the other way.
        g = minus(e, t)
        z = minus(g, times(damping, sliding))
        z = times(0.0 if dot(z, g) < 0.0 else 1.0 / stiffness, z)
    return plus(times(load, normal), t), load, z
