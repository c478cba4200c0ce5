"""Hard parts on rock: skid, axle housings, links, bumpers and body shell, as feelers with friction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_HULL_HITS, M_HULL_LOAD, M_HULL_LOAD_AXLE, U_DT, U_GRIP, Hull, Motion
from sim.physics.compiled import kernel
from sim.physics.ground_sampling import Ground, crossing, probe
from sim.physics.tip_friction import grip_tip
from sim.physics.vector import (
    add_wrench,
    at,
    dot,
    minus,
    over,
    plus,
    plus_cross,
    put_at,
    size,
    times,
    turn_at,
    upward,
)

Array = NDArray[np.float64]
BRISTLE_SHARE = 0.7
"""Tangential over normal stiffness of a hard point: near Mindlin's 2(1 - nu)/(2 - nu) for plastics."""
SMALLEST_INCIDENCE = 0.2
"""Floor of abs(n.d) of a feeler that lies along a face."""


@kernel
def hull_forces(
    controls: Array, memory: Array, hull: Hull, bristles: Array, ground: Ground, motion: Motion, wrench: Array
) -> None:
    """Ground forces on the feelers, added to the wrenches of their bodies; counts strikes and load in ``memory``."""
    dt = controls[U_DT]
    chassis_load = 0.0
    axle_load = 0.0
    for k in range(hull.body.shape[0]):
        b = hull.body[k]
        origin = at(motion.origin, b)
        tip = at(hull.tip, k)
        end = plus(origin, turn_at(motion.rotation, b, tip))
        if end[2] > ground.top:
            bristles[k, 3] = 0.0
            continue
        level, gx, gy = probe(ground, end[0], end[1])
        gap = level - end[2]
        if gap <= 0.0:
            bristles[k, 3] = 0.0
            continue
        along = turn_at(motion.rotation, b, minus(tip, at(hull.root, k)))
        far = size(along)
        along = over(along, far)
        root = minus(end, times(far, along))
        length, gx, gy = crossing(ground, root, along, 0.0, far, gap, dot((gx, gy, -1.0), along))
        back = far - length
        spot = minus(end, times(back, along))
        normal = upward(gx, gy)
        depth = back * max(-dot(normal, along), SMALLEST_INCIDENCE)
        speed = plus_cross(at(motion.velocity, b), at(motion.spin, b), minus(spot, origin))
        if bristles[k, 3] == 0.0:
            put_at(bristles, k, 0, (0.0, 0.0, 0.0))
            if b == 0:
                memory[M_HULL_HITS] += 1.0
        load = max(hull.stiffness[k] * depth + hull.damping[k] * -dot(speed, normal), 0.0)
        force, _, bristle = grip_tip(
            at(bristles, k), times(load, normal), normal, speed, dt, BRISTLE_SHARE * hull.stiffness[k],
            BRISTLE_SHARE * hull.damping[k], hull.grip[k] * controls[U_GRIP],
        )  # fmt: skip
        put_at(bristles, k, 0, bristle)
        bristles[k, 3] = 1.0 + load
        add_wrench(wrench, b, motion.origin, spot, force)
        if b == 0:
            chassis_load += load
        else:
            axle_load += load
    memory[M_HULL_LOAD] = chassis_load
    memory[M_HULL_LOAD_AXLE] = axle_load
