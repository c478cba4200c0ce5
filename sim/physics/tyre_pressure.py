"""The tyre's elastic part: a pressure field that is fixed to the tyre, integrated over the ground that lies inside it.

Every point inside the tyre has an energy density p, zero at the surface and rising inward. The energy stored is the
integral of p over the ground inside, and its gradient, the force, is the integral of p n dA over the ground's surface
inside (docs/tyre_law.md has the derivation). The field is that of R. Elandt, E. Drumwright, M. Sherman and A. Ruina, "A
pressure field model for fast, robust approximation of net contact force and moment between nominally rigid objects",
IROS 2019 (from memory); p follows from the radial law that the squish table gave.

The surface is taken cell by cell, a midpoint each. A cell that rises more than a little is cut into parts, so that the
face of a ledge is integrated along its height. On a part, depth is taken as a parabola along its steepest way: its mean
counts, and only over what lies inside, so that force and stiffness do not hang on where the grid lies under the wheel.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import (
    T_CROWN,
    T_DAMP,
    T_EDGE,
    T_HALF_WIDTH,
    T_LAW_STEP,
    T_RADIUS,
    places,
)
from sim.physics.compiled import kernel
from sim.physics.ground_sampling import Ground
from sim.physics.vector import Vec, dot, put

Array = NDArray[np.float64]
SLICE = 0.05
"""Rise of one part of a steep cell over the tyre's radius."""
STRIDE = 0.15
"""Step of the surface integral over the tyre's radius on ground without edges: cells are taken together up to it, and
coarser ones cut."""
SMOOTH = 0.2
"""Convex change of slope from cell to cell up to which ground counts as without edges."""
# Sums over one wheel: force, moment about the centre, normal force, normal force times place, area, deepest point, the
# moment about the axle that the exact integral does not have, and the first and last tread element that carries.
E_FORCE, E_MOMENT, E_NORMAL, E_PLACE, E_AREA, E_SINK, E_AXLE, E_FIRST, E_LAST, E_SIZE = places(
    3, 3, 1, 3, 1, 1, 1, 1, 1
)
# Sums over one tread element: force, normal force times place, normal force, area.
L_FORCE, L_PLACE, L_NORMAL, L_AREA, L_SIZE = places(3, 3, 1, 1)


@kernel
def tread_place(rotation: Array, ahead: Vec, down: Vec, n_round: int) -> tuple[float, float]:
    """Number of tread elements from the wheel's first to straight down, and per radian from there towards ahead."""
    per_turn = n_round / (2.0 * math.pi)
    x = rotation[0, 0], rotation[1, 0], rotation[2, 0]
    z = rotation[0, 2], rotation[1, 2], rotation[2, 2]
    lowest = math.atan2(dot(z, down), dot(x, down)) * per_turn
    forward = dot(x, down) * dot(z, ahead) - dot(z, down) * dot(x, ahead) > 0.0
    return lowest if lowest >= 0.0 else lowest + n_round, per_turn if forward else -per_turn


@kernel
def shadow(centre: Vec, axle: Vec, radius: float, half: float, ceiling: float) -> tuple[float, float, float, float]:
    """Half sizes along x and y of the part of a wheel under a height, and its middle's shift; negative without one."""
    flat = math.sqrt(max(1.0 - axle[2] * axle[2], 1.0e-12))
    # In the wheel's plane: level (-ay, ax) / flat, and up the plane (-ax az, -ay az) / flat, which rises by flat.
    top = min((ceiling - centre[2] + half * abs(axle[2])) / flat, radius)
    if top <= -radius:
        return -1.0, -1.0, 0.0, 0.0
    chord = math.sqrt(radius * radius - top * top) if top < 0.0 else radius
    middle = 0.5 * (top - radius) / flat
    up = 0.5 * (top + radius) / flat
    ax, ay, az = axle
    return (
        (chord * abs(ay) / flat) + up * abs(ax * az) + half * abs(ax),
        (chord * abs(ax) / flat) + up * abs(ay * az) + half * abs(ay),
        -middle * ax * az,
        -middle * ay * az,
    )


@kernel
def around(ahead: float, down: float) -> float:
    """Angle (rad) from straight down, forward positive, within 0.005: enough to share a load between tread elements."""
    if abs(ahead) <= down:
        t = ahead / down
        return t * (0.97239411 - 0.19194795 * t * t)
    if abs(ahead) >= -down:
        t = down / ahead
        return (0.5 * math.pi if ahead > 0.0 else -0.5 * math.pi) - t * (0.97239411 - 0.19194795 * t * t)
    # Above the axle.
    t = ahead / down
    return t * (0.97239411 - 0.19194795 * t * t) + (math.pi if ahead > 0.0 else -math.pi)


@kernel
def share(load: Array, place: float, j: int, force: Vec, at: Vec, size: float, area: float) -> None:
    """Give a piece of ground's force to the two tread elements of row ``j`` that it lies between.

    ``place`` counts tread elements around the wheel, up to one turn to either side.
    """
    n = load.shape[0]
    low = math.floor(place)
    part = place - low
    i = int(low)
    if i < 0:
        i += n
    elif i >= n:
        i -= n
    w = 1.0 - part
    for _ in range(2):
        load[i, j, L_FORCE] += w * force[0]
        load[i, j, L_FORCE + 1] += w * force[1]
        load[i, j, L_FORCE + 2] += w * force[2]
        load[i, j, L_PLACE] += w * size * at[0]
        load[i, j, L_PLACE + 1] += w * size * at[1]
        load[i, j, L_PLACE + 2] += w * size * at[2]
        load[i, j, L_NORMAL] += w * size
        load[i, j, L_AREA] += w * area
        i = i + 1 if i + 1 < n else 0
        w = part


@kernel
def press(
    tyre: Array, pressure: Array, wheel: int, ground: Ground, ceiling: float, edges: float, centre: Vec,
    rotation: Array, velocity: Vec, spin: Vec, load: Array, sums: Array,
) -> None:  # fmt: skip
    """Integrate the field of one wheel over the ground inside it: into ``sums`` (E_*) and ``load`` by tread element."""
    z = ground.z
    nx, ny = z.shape
    cx, cy, cz = centre
    ax, ay, az = rotation[0, 1], rotation[1, 1], rotation[2, 1]
    radius = tyre[wheel, T_RADIUS]
    crown = tyre[wheel, T_CROWN]
    damp = tyre[wheel, T_DAMP]
    half = tyre[wheel, T_HALF_WIDTH]
    per_step = 1.0 / tyre[wheel, T_LAW_STEP]
    per_edge = 1.0 / tyre[wheel, T_EDGE]
    outer = half + 0.5 * tyre[wheel, T_EDGE]
    samples = pressure.shape[1]
    sums[:] = 0.0
    wide, long, dx, dy = shadow(centre, (ax, ay, az), radius, outer, ceiling)
    if wide < 0.0:
        return
    # Pieces of the surface: cells, or several of them together where nothing sharp is lost, or parts of a coarse one.
    coarsest = min(STRIDE * radius, 1.1 * tyre[wheel, T_EDGE])
    stride = 1 if edges > SMOOTH else max(int(coarsest * ground.per_cell), 1)
    spacing = stride / ground.per_cell
    per_cell = 1.0 / spacing
    cuts = int(math.ceil(spacing / coarsest))
    area = spacing * spacing
    west = (cx + dx - wide - ground.x0) * per_cell
    south = (cy + dy - long - ground.y0) * per_cell
    east = (cx + dx + wide - ground.x0) * per_cell
    north = (cy + dy + long - ground.y0) * per_cell
    # A wheel as thin as a disc is as hard as one: its faces are cut as finely as its shoulders are narrow.
    per_slice = 1.0 / min(SLICE * radius, coarsest)
    # Level and down in the wheel's plane, for the angle about the axle.
    flat = math.sqrt(max(1.0 - az * az, 1.0e-12))
    hx, hy = ay / flat, -ax / flat
    ux, uy, uz = ax * az / flat, ay * az / flat, -flat
    lowest, sense = tread_place(rotation, (hx, hy, 0.0), (ux, uy, uz), load.shape[0])
    rows = load.shape[1]
    per_row = rows / (2.0 * half)
    farthest = (radius + coarsest) * (radius + coarsest)
    vx, vy, vz = velocity
    wx, wy, wz = spin
    first_place = 2 * load.shape[0]
    last_place = -first_place
    fx = fy = fz = mx = my = mz = normal = px = py = pz = touched = deepest = axle = 0.0
    for i in range(int(math.floor(west)), int(math.floor(east)) + 1):
        low = min(max(i * stride, 0), nx - 1)
        high = min(max((i + 1) * stride, 0), nx - 1)
        for j in range(int(math.floor(south)), int(math.floor(north)) + 1):
            left = min(max(j * stride, 0), ny - 1)
            right = min(max((j + 1) * stride, 0), ny - 1)
            z00 = z[low, left]
            e_low = z[low, right] - z00
            e_high = z[high, right] - z[high, left]
            e_far = z[high, left] - z00
            # A steep cell is cut along each axis into parts that rise by little.
            steep_x = max(abs(e_far), abs(e_far + e_high - e_low))
            steep_y = max(abs(e_low), abs(e_high))
            across = cuts
            beside = cuts
            if max(steep_x, steep_y) * per_slice > 1.0:
                across = max(cuts, int(math.ceil(steep_x * per_slice)))
                beside = max(cuts, int(math.ceil(steep_y * per_slice)))
            per_across = 1.0 / across
            per_beside = 1.0 / beside
            piece = area * per_across * per_beside
            long_x = 0.5 * spacing * per_across
            long_y = 0.5 * spacing * per_beside
            # Only the parts that lie in the shadow: a narrow wheel on a coarse grid touches few of them.
            m0 = max(int((west - i) * across), 0)
            m1 = min(int((east - i) * across) + 1, across)
            n0 = max(int((south - j) * beside), 0)
            n1 = min(int((north - j) * beside) + 1, beside)
            for m in range(m0, m1):
                u = (m + 0.5) * per_across
                middle_x = ground.x0 + (i + u) * spacing - cx
                rise_y = e_low + u * (e_high - e_low)
                gy = rise_y * per_cell
                for n in range(n0, n1):
                    v = (n + 0.5) * per_beside
                    lx = middle_x
                    ly = ground.y0 + (j + v) * spacing - cy
                    lz = z00 + u * e_far + v * rise_y - cz
                    side = lx * ax + ly * ay + lz * az
                    square = lx * lx + ly * ly + lz * lz - side * side
                    if square >= farthest or abs(side) >= outer:
                        continue
                    r = math.sqrt(square)
                    depth = radius - r - crown * side * side
                    gx = (e_far + v * (e_high - e_low)) * per_cell
                    # How depth changes over half the part: along it, and by the wheel's roundness.
                    tx, ty = (ax + az * gx) * long_x, (ay + az * gy) * long_y
                    ex, ey = (lx + lz * gx) * long_x - side * tx, (ly + lz * gy) * long_y - side * ty
                    change = math.sqrt(ex * ex + ey * ey) / r
                    sides = tx * tx + ty * ty
                    whole = long_x * long_x * (1.0 + gx * gx) + long_y * long_y * (1.0 + gy * gy)
                    bend = (whole - sides - change * change) / (6.0 * r) + crown * sides / 3.0
                    inside = 1.0
                    if depth >= change + 3.0 * bend:
                        depth -= bend
                    elif depth <= 3.0 * bend - change:
                        continue
                    else:
                        # The tyre ends on this part: only what is inside counts, at its mean depth.
                        end = 2.0 * depth / (change + math.sqrt(max(change * change + 12.0 * bend * depth, 0.0)))
                        inside = 0.5 * (end + 1.0)
                        depth += 0.5 * change * (1.0 - end) - bend * (1.0 - end * (1.0 - end))
                        if inside <= 0.0 or depth <= 0.0:
                            continue
                        # And it lies on the middle of what is inside.
                        shift = -0.5 * (1.0 - end) / (change * r)
                        lx += shift * long_x * ex
                        ly += shift * long_y * ey
                        lz += shift * (long_x * ex * gx + long_y * ey * gy)
                        side += shift * (ex * tx + ey * ty)
                    slant = math.sqrt(1.0 + gx * gx + gy * gy)
                    # The field, linear between samples.
                    place = depth * per_step
                    s = min(int(place), samples - 2)
                    growth = pressure[wheel, s + 1] - pressure[wheel, s]
                    p = pressure[wheel, s] + growth * (place - s)
                    real = min((outer - abs(side)) * per_edge, 1.0) * piece * inside
                    # The ground point comes nearer to the axle as the wheel moves towards it.
                    closing = (
                        (lx - side * ax) * (vx + wy * lz - wz * ly)
                        + (ly - side * ay) * (vy + wz * lx - wx * lz)
                        + (lz - side * az) * (vz + wx * ly - wy * lx)
                    ) / r
                    whole = max(p + damp * per_step * growth * closing, 0.0) * real
                    force = -whole * gx, -whole * gy, whole
                    mx += ly * force[2] - lz * force[1]
                    my += lz * force[0] - lx * force[2]
                    mz += lx * force[1] - ly * force[0]
                    axle += p * real * (ax * (ly + lz * gy) - ay * (lx + lz * gx) + az * (ly * gx - lx * gy))
                    fx += force[0]
                    fy += force[1]
                    fz += force[2]
                    size = whole * slant
                    real *= slant
                    normal += size
                    px += size * lx
                    py += size * ly
                    pz += size * lz
                    touched += real
                    deepest = max(deepest, depth)
                    turn = lowest + sense * around(lx * hx + ly * hy, lx * ux + ly * uy + lz * uz)
                    row = min(max(int((side + half) * per_row), 0), rows - 1)
                    first_place = min(first_place, int(math.floor(turn)))
                    last_place = max(last_place, int(math.floor(turn)) + 1)
                    share(load, turn, row, force, (lx, ly, lz), size, real)
    put(sums, E_FORCE, (fx, fy, fz))
    put(sums, E_MOMENT, (mx, my, mz))
    put(sums, E_PLACE, (px, py, pz))
    sums[E_NORMAL] = normal
    sums[E_AREA] = touched
    sums[E_SINK] = deepest
    sums[E_AXLE] = axle
    sums[E_FIRST] = first_place
    sums[E_LAST] = last_place
