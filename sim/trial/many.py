"""Attempts side by side on a graphics processor: the kernels of :mod:`sim.trial.attempt`, four lanes each.

Every attempt has a seat. Its lanes take a wheel each; what every step needs lies in memory that they share. Trucks and
grounds lie in tables that many seats share. No kernel is written twice: the compiler for the device takes the functions
that run on a processor.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import config, cuda, float64, int32
from numpy.typing import NDArray

from models.massprops import GRAVITY
from sim.physics import lanes
from sim.physics.arrays import (
    M_SIZE,
    O_SIZE,
    S_SIZE,
    U_BRAKE,
    U_DT,
    U_GRIP,
    U_SIZE,
    U_VOLTAGE,
    W_SIZE,
    Bodies,
    Drive,
    Hull,
    ModelArrays,
    Motion,
    Shocks,
    places,
)
from sim.physics.compiled import KEPT
from sim.physics.dynamics import BODIES, C_SIZE, FREEDOMS
from sim.physics.ground_sampling import Ground
from sim.physics.lanes import LANES, meet
from sim.physics.observe import V_S, V_SIZE
from sim.physics.tyre_patch import P_SIZE
from sim.physics.tyre_pressure import L_SIZE
from sim.physics.vector import at, put_at
from sim.trial.attempt import attempt
from sim.trial.rows import B_SIZE, N_PHASE, N_SEEN, OVER

try:
    from numba.cuda.extending import overload
except ImportError:  # numba's own, as far as it still has a device
    from numba.extending import overload

Array = NDArray[np.float64]
LONGEST_DELAY = 40
"""Looks of reaction that notes have room for."""
# All rows of a seat one after the other.
R_PRESENT, R_STATE, R_RESULT, R_CONTROLS, R_MEMORY, R_OUT, R_BRIEF, R_VIEW, R_NOTES, R_SIZE = places(
    S_SIZE, S_SIZE, FREEDOMS, U_SIZE, M_SIZE, O_SIZE, B_SIZE, V_SIZE, N_SEEN + LONGEST_DELAY + 1
)
Z_CONFIG, Z_GROUND = 0, 1
"""What a seat points to."""
(Z_ROUND, Z_ROWS, Z_PRESSURE, Z_SHOCKS, Z_HULL), SIZES = range(5), 5
"""Sizes of a configuration's tables."""
(G_X0, G_Y0, G_CELL, G_BLOCK, G_TOP, G_NX, G_NY, G_BX, G_BY, G_LANE), G_SIZE = range(10), 10
"""Numbers of a ground."""
ATTEMPTS = 1 if config.ENABLE_CUDASIM else 4
"""Attempts of a block, which share a warp: they go different ways, but what they read of the program they read once."""
BESIDE = 2**LANES - 1
"""Lanes of a warp's first attempt, as bits."""
GROUPS = 64
"""Threads of a block where it is not attempts."""
NUMBER = float64
"""Of what the lanes share."""
ONCE: dict[str, Any] = {} if config.ENABLE_CUDASIM else {"cache": KEPT}
"""Compiled once for all runs, as for a processor."""


class Trucks(NamedTuple):
    """Tables of all configurations, the configuration first."""

    sizes: NDArray[np.int64]
    body: Bodies
    tyre: Array
    pressure: Array
    shock: Shocks
    drive: Array
    base_rotation: Array
    hull: Hull


class Places(NamedTuple):
    """Pool of grounds, the ground first; a smaller one lies in the corner of its place."""

    number: Array
    z: Array
    coarse: Array
    lane: Array


class Seats(NamedTuple):
    """What changes, the seat first."""

    points_to: NDArray[np.int64]
    row: Array
    com: Array
    """(n, 11, 3) centres of mass: luck moves the truck's own."""
    support: Array
    bristles: Array
    load: Array
    """(n, 4, rounds, rows, L_SIZE) and the next: every lane has room of its own."""
    patch: Array
    hull_bristles: Array
    rotation: Array
    points: Array
    wheels: Array
    margins: Array


DRIVE_NUMBERS = len(Drive._fields) - 2


def _wait() -> None:
    cuda.syncthreads()


def _wait_beside(lane: int) -> None:
    cuda.syncwarp(int32(BESIDE << (cuda.threadIdx.x // LANES * LANES)))


if config.ENABLE_CUDASIM:
    lanes.wait = _wait
else:
    overload(meet, strict=False, target="cuda")(lambda lane: _wait_beside)


@cuda.jit(device=True)
def fetch(
    lane: int, row: Array, to_row: Array, rotation: Array, to_rotation: Array, points: Array, to_points: Array,
    wheels: Array, to_wheels: Array,
) -> None:  # fmt: skip
    """Copy what lasts from step to step, each lane its part."""
    for i in range(lane, R_SIZE, LANES):
        to_row[i] = row[i]
    for i in range(lane, BODIES, LANES):
        for j in range(3):
            put_at(to_rotation[i], j, 0, at(rotation[i], j))
        for j in range(4):
            put_at(to_points[j], i, 0, at(points[j], i))
            put_at(to_points[j], i, 3, at(points[j], i, 3))
    for j in range(W_SIZE):
        to_wheels[lane, j] = wheels[lane, j]


@cuda.jit(**ONCE)
def go_on(looks: int, steps: int, step: float, gravity: Array, trucks: Trucks, grounds: Places, seats: Seats) -> None:
    """Take some looks in every seat whose attempt is not over: :data:`sim.physics.lanes.LANES` threads each."""
    lane, own = cuda.threadIdx.x % LANES, cuda.threadIdx.x // LANES
    n = cuda.blockIdx.x * ATTEMPTS + own
    if n >= seats.row.shape[0] or seats.row[n, R_NOTES + N_PHASE] == OVER:
        return
    row = cuda.shared.array((ATTEMPTS, R_SIZE), NUMBER)[own]
    com = cuda.shared.array((ATTEMPTS, BODIES, 3), NUMBER)[own]
    work = cuda.shared.array((ATTEMPTS, BODIES, C_SIZE), NUMBER)[own]
    matrix = cuda.shared.array((ATTEMPTS, FREEDOMS, FREEDOMS), NUMBER)[own]
    contact = cuda.shared.array((ATTEMPTS, 4, 3), NUMBER)[own]
    rotation = cuda.shared.array((ATTEMPTS, BODIES, 3, 3), NUMBER)[own]
    points = cuda.shared.array((ATTEMPTS, 4, BODIES, 6), NUMBER)[own]
    wheels = cuda.shared.array((ATTEMPTS, 4, W_SIZE), NUMBER)[own]
    if lane == 0:
        for i in range(BODIES):
            put_at(com, i, 0, at(seats.com[n], i))
    fetch(lane, seats.row[n], row, seats.rotation[n], rotation, seats.points[n], points, seats.wheels[n], wheels)
    meet(lane)
    c = seats.points_to[n, Z_CONFIG]
    g = seats.points_to[n, Z_GROUND]
    size = trucks.sizes[c]
    rounds, rows, shocks, feelers = size[Z_ROUND], size[Z_ROWS], size[Z_SHOCKS], size[Z_HULL]
    b, s, d, h = trucks.body, trucks.shock, trucks.drive[c], trucks.hull
    drive = Drive(
        d[0], d[1], d[2], d[3], d[4], d[5], d[6], d[7], d[8], d[9], d[10], d[11], d[12], d[13] != 0.0, d[14] != 0.0,
        d[15], d[16], d[17], d[18], d[19], d[20], d[21], com[0], trucks.base_rotation[c],
    )  # fmt: skip
    model = ModelArrays(
        Bodies(b.place[c], b.axis[c], b.prismatic[c], b.mass[c], com, b.inertia[c]),
        trucks.tyre[c],
        trucks.pressure[c, :, : size[Z_PRESSURE]],
        Shocks(
            s.axle_body[c, :shocks], s.chassis[c, :shocks], s.axle[c, :shocks], s.length[c, :shocks],
            s.force[c, :shocks], s.rate[c, :shocks], s.damping[c, :shocks], s.bump[c, :shocks], s.droop[c, :shocks],
            s.stop[c, :shocks],
        ),
        drive,
        Hull(
            h.body[c, :feelers], h.root[c, :feelers], h.tip[c, :feelers], h.stiffness[c, :feelers],
            h.grip[c, :feelers], h.damping[c, :feelers],
        ),
    )  # fmt: skip
    number = grounds.number[g]
    nx, ny, bx, by = int(number[G_NX]), int(number[G_NY]), int(number[G_BX]), int(number[G_BY])
    ground = Ground(
        grounds.z[g, :nx, :ny], grounds.coarse[g, :bx, :by], number[G_X0], number[G_Y0], number[G_CELL],
        number[G_BLOCK], number[G_TOP], nx - 1.0, ny - 1.0,
    )  # fmt: skip
    attempt(
        looks, steps, row[R_PRESENT:R_STATE], gravity, step, work, matrix, row[R_RESULT:R_CONTROLS],
        row[R_NOTES:R_SIZE], row[R_BRIEF:R_VIEW], seats.margins[n], grounds.lane[g, : int(number[G_LANE])], contact,
        seats.support[n], row[R_VIEW:R_NOTES],
        (row[R_STATE:R_RESULT], row[R_CONTROLS:R_MEMORY], row[R_MEMORY:R_OUT], row[R_OUT:R_BRIEF], model,
         seats.bristles[n, :, :rounds, : rows + 1, :], seats.load[n, lane, :rounds, :rows, :],
         seats.patch[n, lane, : rounds * rows + 1, :], seats.hull_bristles[n, :feelers, :], ground,
         Motion(rotation, points[0], points[1], points[2]), points[3], wheels),
        lane,
    )  # fmt: skip
    meet(lane)
    fetch(lane, row, seats.row[n], rotation, seats.rotation[n], points, seats.points[n], wheels, seats.wheels[n])


@cuda.jit
def take_seat(which: Array, points_to: Array, row: Array, com: Array, seats: Seats) -> None:
    """Put a new attempt, a block of threads and a row each, into some seats; its force elements have no memory."""
    k, thread, threads = cuda.blockIdx.x, cuda.threadIdx.x, cuda.blockDim.x
    n = which[k]
    for i in range(thread, R_SIZE, threads):
        seats.row[n, i] = row[k, i]
    for i in range(thread, BODIES, threads):
        for j in range(3):
            seats.com[n, i, j] = com[k, i, j]
    for i in range(thread, seats.hull_bristles.shape[1], threads):
        for j in range(4):
            seats.hull_bristles[n, i, j] = 0.0
    for wheel in range(4):
        for i in range(thread, W_SIZE, threads):
            seats.wheels[n, wheel, i] = 0.0
        for i in range(thread, seats.bristles.shape[2], threads):
            for j in range(seats.bristles.shape[3]):
                for m in range(4):
                    seats.bristles[n, wheel, i, j, m] = 0.0
    if thread == 0:
        for i in range(points_to.shape[1]):
            seats.points_to[n, i] = points_to[k, i]


@cuda.jit
def read_phases(seats: Seats, out: Array) -> None:
    """Copy the phase of every seat's attempt side by side."""
    n = cuda.grid(1)
    if n < seats.row.shape[0]:
        out[n] = seats.row[n, R_NOTES + N_PHASE]


@cuda.jit
def read_out(which: Array, seats: Seats, out: Array) -> None:
    """Copy the rows of some seats one below the other."""
    k = cuda.blockIdx.x
    for i in range(cuda.threadIdx.x, R_SIZE, cuda.blockDim.x):
        out[k, i] = seats.row[which[k], i]


@cuda.jit
def lay(z: Array, coarse: Array, lane: Array, g: int, grounds: Places) -> None:
    """Put a ground into its place, a thread a row of its grid."""
    i = cuda.grid(1)
    if i < z.shape[0]:
        for j in range(z.shape[1]):
            grounds.z[g, i, j] = z[i, j]
    if i < coarse.shape[0]:
        for j in range(coarse.shape[1]):
            grounds.coarse[g, i, j, 0] = coarse[i, j, 0]
            grounds.coarse[g, i, j, 1] = coarse[i, j, 1]
    if i < lane.shape[0]:
        grounds.lane[g, i, 0] = lane[i, 0]
        grounds.lane[g, i, 1] = lane[i, 1]


def room(shape: tuple[int, ...], dtype: Any = np.float64, value: float = 0.0) -> Any:
    """An array on the device that holds one value."""
    flat = cuda.device_array(int(np.prod(shape)), dtype)
    flat[:] = value
    return flat.reshape(shape)


def blocks(count: int) -> int:
    """Blocks of threads for so many."""
    return max(-(-count // GROUPS), 1)


def stacked(records: list[Any]) -> Any:
    """Arrays of equal records one above the other, filled up with zeros to the largest."""
    return type(records[0])(*(_pile([np.asarray(one) for one in column]) for column in zip(*records, strict=True)))


def _pile(arrays: list[Array]) -> Array:
    shape = tuple(np.max([one.shape for one in arrays], axis=0).astype(int)) if arrays[0].ndim else ()
    pile = np.zeros((len(arrays), *shape), dtype=arrays[0].dtype)
    for place, one in zip(pile, arrays, strict=True):
        place[tuple(slice(k) for k in one.shape)] = one
    return pile


def truck_tables(models: list[tuple[ModelArrays, int, int]]) -> Trucks:
    """Tables of configurations, each with the tread elements of its tyres around and across."""
    arrays = [one for one, _, _ in models]
    return Trucks(
        sizes=np.array([(n, rows, a.pressure.shape[1], len(a.shock.length), len(a.hull.body)) for a, n, rows in models],
                       dtype=np.int64),
        body=stacked([a.body for a in arrays]),
        tyre=_pile([a.tyre for a in arrays]),
        pressure=_pile([a.pressure for a in arrays]),
        shock=stacked([a.shock for a in arrays]),
        drive=np.array([a.drive[:DRIVE_NUMBERS] for a in arrays], dtype=np.float64),
        base_rotation=_pile([a.drive.base_rotation for a in arrays]),
        hull=stacked([a.hull for a in arrays]),
    )


def seat_shapes(tables: Trucks, looks: int) -> dict[str, tuple[int, ...]]:
    """Sizes of what a seat needs for the trucks of these tables and so many looks."""
    rounds, rows, _, _, feelers = (int(k) for k in tables.sizes.max(axis=0))
    return {
        "row": (R_SIZE,), "com": (BODIES, 3), "support": (4 + feelers, 3), "bristles": (4, rounds, rows + 1, 4),
        "load": (LANES, rounds, rows, L_SIZE), "patch": (LANES, rounds * rows + 1, P_SIZE),
        "hull_bristles": (feelers, 4), "rotation": (BODIES, 3, 3), "points": (4, BODIES, 6), "wheels": (4, W_SIZE),
        "margins": (looks,),
    }  # fmt: skip


def column(present: Array, step: float, grip: float, voltage: float, brief: Array, notes: Array) -> Array:
    """What a new attempt brings to its seat."""
    row = np.zeros(R_SIZE)
    row[R_PRESENT:R_STATE] = row[R_STATE:R_RESULT] = present
    controls = row[R_CONTROLS:R_MEMORY]
    controls[U_DT], controls[U_GRIP], controls[U_VOLTAGE], controls[U_BRAKE] = step, grip, voltage, 1.0
    row[R_BRIEF:R_VIEW] = brief
    row[R_NOTES : R_NOTES + len(notes)] = notes
    return row


def outcome(row: Array) -> tuple[Array, Array, float]:
    """Notes, memory of the force elements and place along the lane in a row that was read out."""
    return row[R_NOTES:R_SIZE], row[R_MEMORY:R_OUT], float(row[R_VIEW + V_S])


GRAVITY_ROW = np.array([0.0, 0.0, -GRAVITY])
