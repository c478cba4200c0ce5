"""The tyre's elastic part: a pressure field that is fixed to the tyre, integrated over the ground that lies inside it.

Every point inside the tyre has an energy density p, zero at the surface and rising inward. The energy stored is the
integral of p over the ground inside, and its gradient, the force, is the integral of p n dA over the ground's surface
inside (docs/tyre_law.md has the derivation). The field is that of R. Elandt, E. Drumwright, M. Sherman and A. Ruina, "A
pressure field model for fast, robust approximation of net contact force and moment between nominally rigid objects",
IROS 2019 (from memory); p follows from the radial law that the squish table gave.

The surface is taken piece by piece: cells together where nothing sharp is lost, and parts of a cell that rises, so that
the face of a ledge is integrated along its height. On a part, depth is taken as a parabola along its steepest way: its
mean counts, and only over what lies inside; the shoulder's fading is taken as its mean across the part. So force and
stiffness do not hang on where the grid lies under the wheel.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import T_CROWN, T_DAMP, T_EDGE, T_HALF_WIDTH, T_LAW_STEP, T_RADIUS, places
from sim.physics.compiled import kernel, unfolded
from sim.physics.ground_sampling import Ground
from sim.physics.vector import Vec, add, around, cross, dot, minus, plus_cross, times

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
STRIDE = 0.23
"""Longest part of ground over the tyre's radius, along x, y and z: cells are taken together up to it."""
SMOOTH = 0.2
"""Change of slope from cell to cell up to which ground counts as without edges."""
FACE = 0.06
"""Highest part over the radius on ground with edges: the face of a ledge is integrated along its height."""
SHOULDER = 1.6
"""Widest part over the width in which the tyre's shoulder fades."""
UPRIGHT = 0.2
"""Tangent of the lean between ground and axle beyond which parts are half as long: a narrow strip of tread touches."""
LIGHT = 0.06
"""Depth over the radius under which a wheel's parts are half as long: it touches few of them."""
LEAST = 1.0e-12
"""m; a part that is narrower, or of which the shoulder leaves less, is none."""
LEVEL = 0.005
"""Over the radius: how far ground with edges may lie off a piece of several cells that is taken whole."""
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


class Pressed(NamedTuple):
    """What one wheel's integral needs at every part of ground; lengths in metres, directions in world axes."""

    wheel: int
    centre: Vec
    axle: Vec
    velocity: Vec
    spin: Vec
    level: Vec
    """In the wheel's plane, level and forward or backward."""
    down: Vec
    lowest: float
    """Tread element, as a number, straight under the axle, and elements per radian from there towards ``level``."""
    sense: float
    radius: float
    crown: float
    half: float
    outer: float
    """Half width with its soft shoulder."""
    edge: float
    """Width over which the shoulder fades, and one over it."""
    per_edge: float
    per_row: float
    per_step: float
    damp: float
    farthest: float
    """Square of the distance from the axle beyond which no part of a piece touches."""
    cell: float
    per_length: float
    """One over what a part may be long along x and y, rise, and reach across the tread."""
    per_rise: float
    per_width: float


@kernel
def is_whole(z: Array, i: int, j: int, stride: int, tolerance: float) -> bool:
    """Whether a square of cells is one bilinear piece, within a tolerance of height (m)."""
    if stride == 1:
        return True
    if i < 0 or j < 0 or i + stride >= z.shape[0] or j + stride >= z.shape[1]:
        return False
    a, b = z[i, j], z[i, j + stride]
    c, d = z[i + stride, j], z[i + stride, j + stride]
    per = 1.0 / stride
    for m in range(stride + 1):
        left = a + m * per * (c - a)
        slope = (b + m * per * (d - b) - left) * per
        for n in range(stride + 1):
            if abs(z[i + m, j + n] - left - n * slope) > tolerance:
                return False
    return True


@unfolded
def is_beyond(w: Pressed, at: Vec, half: float) -> bool:
    """Whether ground that reaches ``half`` (m) around a place from the wheel's centre lies outside the tyre."""
    side = dot(at, w.axle)
    reach = w.radius + half
    return dot(at, at) - side * side > reach * reach or abs(side) > w.outer + half


@kernel
def fade(w: Pressed, side: float, square: float) -> tuple[float, float]:
    """Share that the shoulder leaves of a part, and how much further in (m) its middle lies then.

    ``side`` is the part's place across the tread (m, not negative), ``square`` the square of its half width.
    """
    into = w.outer - side
    if into > w.edge and (into - w.edge) * (into - w.edge) >= square:
        return 1.0, 0.0
    half = math.sqrt(square) + LEAST
    inner, outer = max(into + half, 0.0), max(into - half, 0.0)
    # The share rises from 0 to 1 over the edge and stays: its integral and its moment from where the tyre ends.
    more, less = min(inner, w.edge), min(outer, w.edge)
    left = 0.5 * (more * more - less * less) * w.per_edge + inner - more - outer + less
    if left <= LEAST:
        return 0.0, 0.0
    moment = (more * more * more - less * less * less) * w.per_edge / 3.0
    moment += 0.5 * (inner * inner - more * more - outer * outer + less * less)
    return left / (2.0 * half), moment / left - into


@unfolded
def touch_part(
    w: Pressed, at: Vec, gx: float, gy: float, long_x: float, long_y: float
) -> tuple[float, float, float, float, Vec]:
    """Mean depth (m), plan area inside (m^2), place along the axle, one over the distance from it, and place.

    ``at``: the part's middle from the wheel's centre; ``gx``, ``gy`` its slopes; ``long_x``, ``long_y`` its half sides.
    The depth is negative where nothing is inside.
    """
    lx, ly, lz = at
    ax, ay, az = w.axle
    side = lx * ax + ly * ay + lz * az
    square = lx * lx + ly * ly + lz * lz - side * side
    tx, ty = (ax + az * gx) * long_x, (ay + az * gy) * long_y
    if square >= w.farthest or abs(side) >= w.outer + abs(tx) + abs(ty):
        return -1.0, 0.0, side, 0.0, at
    per_r = 1.0 / math.sqrt(square)
    depth = w.radius - square * per_r - w.crown * side * side
    # How depth changes over half the part: along it, and by the wheel's roundness.
    ex, ey = (lx + lz * gx) * long_x - side * tx, (ly + lz * gy) * long_y - side * ty
    steepest = (ex * ex + ey * ey) * per_r * per_r
    sides = tx * tx + ty * ty
    spread = long_x * long_x * (1.0 + gx * gx) + long_y * long_y * (1.0 + gy * gy)
    bend = (spread - sides - steepest) * per_r * (1.0 / 6.0) + w.crown * sides * (1.0 / 3.0)
    left, inward = fade(w, abs(side), sides)
    area = 4.0 * long_x * long_y * left
    depth += 2.0 * w.crown * abs(side) * inward
    if inward * inward > LEAST * sides:
        # The middle of what the shoulder leaves lies along the part too, which is deeper there or less deep.
        slip = math.copysign(inward, side) / sides
        depth += slip * (ex * tx + ey * ty) * per_r
        mx, my = -slip * long_x * tx, -slip * long_y * ty
        lx, ly, lz = lx + mx, ly + my, lz + mx * gx + my * gy
    side -= math.copysign(inward, side)
    above = depth - 3.0 * bend
    if above * above >= steepest:
        return depth - bend if above > 0.0 else -1.0, area, side, per_r, (lx, ly, lz)
    # The tyre ends on this part: only what is inside counts, at its mean depth.
    change = math.sqrt(steepest)
    end = 2.0 * depth / (change + math.sqrt(max(steepest + 12.0 * bend * depth, 0.0)))
    inside = 0.5 * (end + 1.0)
    depth += 0.5 * change * (1.0 - end) - bend * (1.0 - end * (1.0 - end))
    # And it lies on the middle of what is inside.
    shift = -0.5 * (1.0 - end) / change * per_r
    mx, my = shift * long_x * ex, shift * long_y * ey
    moved = lx + mx, ly + my, lz + mx * gx + my * gy
    side += shift * (ex * tx + ey * ty)
    return depth if inside > 0.0 else -1.0, area * inside, side, per_r, moved


@unfolded
def press_part(
    w: Pressed, pressure: Array, load: Array, sums: Array, at: Vec, gx: float, gy: float, depth: float, area: float,
    side: float, per_r: float,
) -> None:  # fmt: skip
    """Add what a part of ground does to the wheel."""
    ax, ay, az = w.axle
    lx, ly, lz = at
    # The field, linear between samples.
    place = depth * w.per_step
    s = min(int(place), pressure.shape[1] - 2)
    growth = pressure[w.wheel, s + 1] - pressure[w.wheel, s]
    p = pressure[w.wheel, s] + growth * (place - s)
    # The ground point comes nearer to the axle as the wheel moves towards it.
    speed = plus_cross(w.velocity, w.spin, at)
    closing = dot(minus(at, times(side, w.axle)), speed) * per_r
    whole = max(p + w.damp * w.per_step * growth * closing, 0.0) * area
    force = -whole * gx, -whole * gy, whole
    add(sums, E_FORCE, force)
    add(sums, E_MOMENT, cross(at, force))
    sums[E_AXLE] += p * area * (ax * (ly + lz * gy) - ay * (lx + lz * gx) + az * (ly * gx - lx * gy))
    slant = math.sqrt(1.0 + gx * gx + gy * gy)
    size = whole * slant
    add(sums, E_PLACE, times(size, at))
    sums[E_NORMAL] += size
    sums[E_AREA] += area * slant
    sums[E_SINK] = max(sums[E_SINK], depth)
    turn = w.lowest + w.sense * around(dot(at, w.level), dot(at, w.down))
    row = min(max(int((side + w.half) * w.per_row), 0), load.shape[1] - 1)
    first = math.floor(turn)
    sums[E_FIRST] = min(sums[E_FIRST], first)
    sums[E_LAST] = max(sums[E_LAST], first + 1.0)
    share(load, turn, row, force, at, size, area * slant)


@unfolded
def press_piece(
    w: Pressed, pressure: Array, ground: Ground, load: Array, sums: Array, i: int, j: int, stride: int,
    per_stride: float, box: Box,
) -> None:  # fmt: skip
    """Add a square piece of ``stride`` cells: whole, or in parts that neither reach nor rise too far.

    ``box``: the wheel's shadow, in cells (first and last along x, then along y).
    """
    z = ground.z
    nx, ny = z.shape
    low = min(max(i, 0), nx - 1)
    high = min(max(i + stride, 0), nx - 1)
    left = min(max(j, 0), ny - 1)
    right = min(max(j + stride, 0), ny - 1)
    z00 = z[low, left]
    e_low = z[low, right] - z00
    e_high = z[high, right] - z[high, left]
    e_far = z[high, left] - z00
    twist = e_high - e_low
    spacing = stride * w.cell
    per_spacing = per_stride * ground.per_cell
    x0 = ground.x0 + i * w.cell - w.centre[0]
    y0 = ground.y0 + j * w.cell - w.centre[1]
    z0 = z00 - w.centre[2]
    ax, ay, az = w.axle
    mean_x, mean_y = (e_far + 0.5 * twist) * per_spacing, (e_low + 0.5 * twist) * per_spacing
    lean = az - ax * mean_x - ay * mean_y
    leans = lean * lean * (1.0 + UPRIGHT * UPRIGHT) > UPRIGHT * UPRIGHT * (1.0 + mean_x * mean_x + mean_y * mean_y)
    length = spacing * w.per_length * (2.0 if leans else 1.0)
    # How many times too long, too high, or too wide for the shoulders it is.
    steep_x, steep_y = max(abs(e_far), abs(e_far + twist)), max(abs(e_low), abs(e_high))
    over_x = max(length, steep_x * w.per_rise, abs(ax * spacing + az * e_far) * w.per_width)
    over_y = max(length, steep_y * w.per_rise, abs(ay * spacing + az * e_low) * w.per_width)
    across = beside = 1
    if over_x > 1.0 or over_y > 1.0:
        middle = x0 + 0.5 * spacing, y0 + 0.5 * spacing, z0 + 0.25 * (e_low + e_high) + 0.5 * e_far
        if is_beyond(w, middle, 0.71 * spacing + 0.5 * (abs(e_far) + abs(e_low) + abs(twist))):
            return
        across = int(math.ceil(over_x))
        beside = int(math.ceil(over_y))
    per_across, per_beside = 1.0 / across, 1.0 / beside
    long_x, long_y = 0.5 * spacing * per_across, 0.5 * spacing * per_beside
    m0, m1, n0, n1 = 0, across, 0, beside
    if across > 4 or beside > 4:
        # Only the parts that lie in the shadow: a narrow wheel on a coarse grid touches few of them.
        m0 = max(int((box[0] - i) / stride * across), 0)
        m1 = min(int((box[1] - i) / stride * across) + 1, across)
        n0 = max(int((box[2] - j) / stride * beside), 0)
        n1 = min(int((box[3] - j) / stride * beside) + 1, beside)
    for m in range(m0, m1):
        u = (m + 0.5) * per_across
        rise = e_low + u * twist
        for n in range(n0, n1):
            v = (n + 0.5) * per_beside
            gx, gy = (e_far + v * twist) * per_spacing, rise * per_spacing
            middle = x0 + u * spacing, y0 + v * spacing, z0 + u * e_far + v * rise
            depth, area, side, per_r, at = touch_part(w, middle, gx, gy, long_x, long_y)
            if depth > 0.0:
                press_part(w, pressure, load, sums, at, gx, gy, depth, area, side, per_r)


@kernel
def press(
    tyre: Array, pressure: Array, wheel: int, ground: Ground, ceiling: float, edges: float, centre: Vec,
    rotation: Array, velocity: Vec, spin: Vec, load: Array, sums: Array,
) -> None:  # fmt: skip
    """Integrate the field of one wheel over the ground inside it: into ``sums`` (E_*) and ``load`` by tread element."""
    axle = rotation[0, 1], rotation[1, 1], rotation[2, 1]
    radius = tyre[wheel, T_RADIUS]
    half = tyre[wheel, T_HALF_WIDTH]
    edge = tyre[wheel, T_EDGE]
    outer = half + 0.5 * edge
    sums[:] = 0.0
    wide, long, dx, dy = shadow(centre, axle, radius, outer, ceiling)
    if wide < 0.0:
        return
    # Level and down in the wheel's plane, for the angle about the axle.
    flat = math.sqrt(max(1.0 - axle[2] * axle[2], 1.0e-12))
    level = axle[1] / flat, -axle[0] / flat, 0.0
    down = axle[0] * axle[2] / flat, axle[1] * axle[2] / flat, -flat
    lowest, sense = tread_place(rotation, level, down, load.shape[0])
    # A wheel as thin as a disc is as hard as one: its parts are as small as its shoulders are narrow.
    shoulder = SHOULDER * edge
    coarsest = min(STRIDE * radius, shoulder)
    if ceiling - centre[2] + radius * flat + outer * abs(axle[2]) < LIGHT * radius:
        coarsest *= 0.5
    rise = min(FACE * radius, coarsest) if edges > SMOOTH else coarsest
    w = Pressed(
        wheel, centre, axle, velocity, spin, level, down, lowest, sense, radius, tyre[wheel, T_CROWN], half, outer,
        edge, 1.0 / edge, load.shape[1] / (2.0 * half), 1.0 / tyre[wheel, T_LAW_STEP], tyre[wheel, T_DAMP],
        (radius + 1.3 * coarsest) ** 2, 1.0 / ground.per_cell, 1.0 / coarsest, 1.0 / rise, 1.0 / shoulder,
    )  # fmt: skip
    sums[E_FIRST] = 2.0 * load.shape[0]
    sums[E_LAST] = -2.0 * load.shape[0]
    box = (
        (centre[0] + dx - wide - ground.x0) * ground.per_cell,
        (centre[0] + dx + wide - ground.x0) * ground.per_cell,
        (centre[1] + dy - long - ground.y0) * ground.per_cell,
        (centre[1] + dy + long - ground.y0) * ground.per_cell,
    )
    stride = max(int(coarsest * ground.per_cell), 1)
    per_stride = 1.0 / stride
    for i in range(int(math.floor(box[0] / stride)), int(math.floor(box[1] / stride)) + 1):
        for j in range(int(math.floor(box[2] / stride)), int(math.floor(box[3] / stride)) + 1):
            whole = edges <= SMOOTH or is_whole(ground.z, i * stride, j * stride, stride, LEVEL * radius)
            step = stride if whole else 1
            per_step = per_stride if whole else 1.0
            for k in range(1 if whole else stride):
                for m in range(1 if whole else stride):
                    press_piece(w, pressure, ground, load, sums, i * stride + k, j * stride + m, step, per_step, box)
