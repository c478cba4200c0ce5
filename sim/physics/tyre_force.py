"""The four tyres: pressed by the ground inside them, gripping with their tread, on a carcass that gives.

The elastic part keeps its energy (:mod:`sim.physics.tyre_pressure`). Friction and loss stand on top of it: each tread
element is a bristle that is held inside the friction cone about the direction of its own load, so a fully sliding tyre
carries exactly mu times its normal load, and a standing one neither creeps nor needs a speed to hold.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import WHEEL_BODIES
from sim.physics.arrays import (
    M_PRESSURE,
    T_AREA,
    T_BRISTLE,
    T_CARCASS,
    T_DAMP,
    T_EDGE,
    T_HALF_WIDTH,
    T_RADIUS,
    U_DT,
    U_GRIP,
    W_FX,
    W_NORMAL,
    W_PX,
    W_SINK,
    W_TOUCH,
    Motion,
)
from sim.physics.compiled import kernel
from sim.physics.ground_sampling import Ground, survey
from sim.physics.lanes import ALONE, wheels_of
from sim.physics.tyre_grip import update_pressure, wheel_grip
from sim.physics.tyre_patch import empty, grip_patch, lift_off, move_carcass, touch_down
from sim.physics.tyre_pressure import (
    E_AREA,
    E_AXLE,
    E_FIRST,
    E_FORCE,
    E_LAST,
    E_MOMENT,
    E_NORMAL,
    E_PLACE,
    E_SINK,
    press,
)
from sim.physics.vector import Vec, add_at, at, over, plus, put_at, times, vec

Array = NDArray[np.float64]
WHEELS = np.array(WHEEL_BODIES, dtype=np.int64)


@kernel
def lowest_point(centre: Vec, axle: Vec, radius: float) -> Vec:
    """Lowest point of a lifted wheel's rolling circle: it stands in for the contact patch."""
    flat = math.sqrt(max(1.0 - axle[2] * axle[2], 1.0e-12))
    return (
        centre[0] + radius * axle[2] * axle[0] / flat,
        centre[1] + radius * axle[2] * axle[1] / flat,
        centre[2] - radius * flat,
    )


@kernel
def tyre_forces(
    controls: Array, memory: Array, tyre: Array, pressure: Array, bristles: Array, load: Array, patch: Array,
    ground: Ground, motion: Motion, wrench: Array, wheels: Array, lane: int = ALONE,
) -> None:  # fmt: skip
    """Ground forces of the four tyres, or of a lane's: added to the wheels' wrenches and reported in ``wheels``.

    ``load`` (n_round, rows, L_SIZE) and ``patch`` are room to work; ``load`` is zero before and after.
    """
    dt = controls[U_DT]
    room = patch[patch.shape[0] - 1]
    begin, end = wheels_of(lane)
    for wheel in range(begin, end):
        b = WHEELS[wheel]
        centre = at(motion.origin, b)
        velocity = at(motion.velocity, b)
        spin = at(motion.spin, b)
        rotation = motion.rotation[b]
        axle = rotation[0, 1], rotation[1, 1], rotation[2, 1]
        radius = tyre[wheel, T_RADIUS]
        outer = tyre[wheel, T_HALF_WIDTH] + 0.5 * tyre[wheel, T_EDGE]
        long = radius * math.sqrt(1.0 - min(axle[0] * axle[0], 1.0)) + outer * abs(axle[0])
        wide = radius * math.sqrt(1.0 - min(axle[1] * axle[1], 1.0)) + outer * abs(axle[1])
        ceiling, edges = survey(ground, centre[0] - long, centre[0] + long, centre[1] - wide, centre[1] + wide)
        press(tyre, pressure, wheel, ground, ceiling, edges, centre, rotation, velocity, spin, load, room)
        normal = room[E_NORMAL]
        area = room[E_AREA]
        force = vec(room, E_FORCE)
        # The exact integral has no moment about the axle: what is left of it is the grid's.
        moment = plus(vec(room, E_MOMENT), times(-room[E_AXLE], axle))
        wheels[wheel, W_NORMAL] = normal
        wheels[wheel, W_TOUCH] = area / tyre[wheel, T_AREA]
        wheels[wheel, W_SINK] = room[E_SINK]
        if normal > 0.0:
            put_at(wheels, wheel, W_PX, plus(centre, over(vec(room, E_PLACE), normal)))
            mu = wheel_grip(tyre, memory, wheel, controls[U_GRIP])
            first, last = int(room[E_FIRST]), int(room[E_LAST])
            count = touch_down(patch, bristles, wheel, load, first, last, velocity, spin, tyre[wheel, T_AREA])
        else:
            put_at(wheels, wheel, W_PX, lowest_point(centre, axle, radius))
            mu = 0.0
            empty(load, int(room[E_FIRST]), int(room[E_LAST]))
            count = lift_off(bristles, wheel)
        tread = tyre[wheel, T_BRISTLE]
        carcass = tyre[wheel, T_CARCASS]
        move_carcass(patch, count, memory, wheel, dt, tread, mu, carcass, tyre[wheel, T_DAMP] * carcass, room)
        grip_patch(patch, count, memory, wheel, bristles, dt, tread, mu, room)
        force = plus(force, vec(room, 0))
        add_at(wrench, b, 0, force)
        add_at(wrench, b, 3, plus(moment, vec(room, 3)))
        put_at(wheels, wheel, W_FX, force)
        if normal > 0.0:
            update_pressure(memory, wheel, normal / area, dt)
        else:
            memory[M_PRESSURE + wheel] = 0.0
