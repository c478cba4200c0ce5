"""What the driver and the referee see, a hundred times a second: place on the lane, speed, attitude, margin."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import W_NORMAL, W_PX, Bodies, Hull, Motion, places
from sim.physics.compiled import kernel
from sim.physics.kinematics import BODIES
from sim.physics.margin import footprint_margin, tip_over_margin
from sim.physics.vector import add, at, minus, over, plus, plus_cross, put, put_at, times, turn, turn_at, vec

Array = NDArray[np.float64]

(
    V_S, V_SIDE, V_CG, V_SPEED, V_MARGIN, V_EDGE, V_UP, V_HEADING, V_BEARING, V_CG_VEL, V_ACC, V_NOSE, V_LEFT_Z,
    V_FINITE, V_WHEELS, V_LOAD, V_SIZE,
) = places(1, 1, 3, 1, 1, 1, 1, 1, 1, 3, 3, 1, 1, 1, 1, 4)  # fmt: skip
# V_MARGIN: over what carries; V_WHEELS: over the four wheels, lifted or not. V_LOAD: averaged load of each wheel, N.
ACCELERATION_TIME = 0.08
"""s; the acceleration in the margin is averaged over this, shorter than a tip, longer than tyre chatter.
So are the loads of the wheels."""
CARRIES = 0.02
"""Share of the weight from which a wheel or a hard part counts as carrying."""


@kernel
def lane_place(lane: Array, x: float, y: float) -> tuple[float, float]:
    """Distance along a polyline (n, 2) of the point nearest to (x, y), and the offset to its left, m.

    Beyond its ends the first and last stretch go on straight.
    """
    best = math.inf
    along = 0.0
    offset = 0.0
    run = 0.0
    n = lane.shape[0]
    for i in range(n - 1):
        dx = lane[i + 1, 0] - lane[i, 0]
        dy = lane[i + 1, 1] - lane[i, 1]
        size = math.sqrt(dx * dx + dy * dy)
        if size == 0.0:
            continue
        dx /= size
        dy /= size
        t = (x - lane[i, 0]) * dx + (y - lane[i, 1]) * dy
        if i > 0:
            t = max(t, 0.0)
        if i < n - 2:
            t = min(t, size)
        ex = x - lane[i, 0] - t * dx
        ey = y - lane[i, 1] - t * dy
        distance = ex * ex + ey * ey
        if distance < best:
            best = distance
            along = run + t
            offset = dx * ey - dy * ex
        run += size
    return along, offset


@kernel
def lane_point(lane: Array, along: float) -> tuple[float, float]:
    """Point at a distance along the polyline, going straight on beyond its end, m."""
    n = lane.shape[0]
    run = 0.0
    for i in range(n - 1):
        dx = lane[i + 1, 0] - lane[i, 0]
        dy = lane[i + 1, 1] - lane[i, 1]
        size = math.sqrt(dx * dx + dy * dy)
        if size > 0.0 and (along <= run + size or i == n - 2):
            t = (along - run) / size
            return lane[i, 0] + t * dx, lane[i, 1] + t * dy
        run += size
    return lane[n - 1, 0], lane[n - 1, 1]


@kernel
def observe(
    body: Bodies, motion: Motion, wheels: Array, lane: Array, look_ahead: float, interval: float, gravity: Array,
    contact: Array, hull: Hull, bristles: Array, support: Array, view: Array,
) -> None:  # fmt: skip
    """Fill ``view`` from the kinematics of the last step; ``contact`` (4, 3) gets the tyres' places on the ground.

    ``gravity`` (3,) in the world, m/s^2. ``bristles``: the hull's, whose last entry holds its load. ``support``
    (4 + feelers, 3) is room for the corners of the footprint.
    ``view`` keeps the last velocity, from which the averaged acceleration comes.
    """
    frames = motion.rotation
    origin = motion.origin
    mass = 0.0
    cg = cv = (0.0, 0.0, 0.0)
    for b in range(BODIES):
        m = body.mass[b]
        arm = turn(frames[b], at(body.com, b))
        mass += m
        cg = plus(cg, times(m, plus(at(origin, b), arm)))
        cv = plus(cv, times(m, plus_cross(at(motion.velocity, b), at(motion.spin, b), arm)))
    blend = min(interval / ACCELERATION_TIME, 1.0)
    cg, cv = over(cg, mass), over(cv, mass)
    gain = over(minus(cv, vec(view, V_CG_VEL)), interval)
    add(view, V_ACC, times(blend, minus(gain, vec(view, V_ACC))))
    force = times(mass, minus(vec(gravity, 0), vec(view, V_ACC)))
    put(view, V_CG, cg)
    put(view, V_CG_VEL, cv)
    finite = cg[0] + cv[0] + cg[1] + cv[1] + cg[2] + cv[2]
    enough = CARRIES * mass * math.sqrt(gravity[0] ** 2 + gravity[1] ** 2 + gravity[2] ** 2)
    count = 0
    for i in range(4):
        for j in range(3):
            contact[i, j] = wheels[i, W_PX + j]
        view[V_LOAD + i] += blend * (wheels[i, W_NORMAL] - view[V_LOAD + i])
        if view[V_LOAD + i] > enough:
            put_at(support, count, 0, at(contact, i))
            count += 1
    for k in range(hull.body.shape[0]):
        if bristles[k, 3] - 1.0 > enough:
            b = hull.body[k]
            put_at(support, count, 0, plus(at(origin, b), turn_at(frames, b, at(hull.tip, k))))
            count += 1
    margin, edge = tip_over_margin(contact, cg, force)
    view[V_WHEELS] = margin
    view[V_EDGE] = edge
    carried = footprint_margin(support, count, cg, force)
    view[V_MARGIN] = carried if carried < math.pi else margin
    view[V_UP] = frames[0, 2, 2]
    view[V_NOSE] = frames[0, 2, 0]
    view[V_LEFT_Z] = frames[0, 2, 1]
    heading = math.atan2(frames[0, 1, 0], frames[0, 0, 0])
    view[V_HEADING] = heading
    view[V_SPEED] = cv[0] * frames[0, 0, 0] + cv[1] * frames[0, 1, 0] + cv[2] * frames[0, 2, 0]
    along, offset = lane_place(lane, cg[0], cg[1])
    view[V_S] = along
    view[V_SIDE] = offset
    rear, _ = lane_place(lane, origin[0, 0], origin[0, 1])
    aim_x, aim_y = lane_point(lane, rear + look_ahead)
    bearing = math.atan2(aim_y - origin[0, 1], aim_x - origin[0, 0]) - heading
    view[V_BEARING] = math.atan2(math.sin(bearing), math.cos(bearing))
    view[V_FINITE] = 0.0 if math.isfinite(finite) else 1.0
