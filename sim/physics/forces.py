"""All forces of one step in a single compiled call."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_TIME, U_DT
from sim.physics.compiled import kernel
from sim.physics.drive_force import drive_forces, steer_forces
from sim.physics.hull_force import hull_forces
from sim.physics.kinematics import forward, generalise
from sim.physics.shock_force import shock_forces
from sim.physics.tyre_force import tyre_forces

Array = NDArray[np.float64]
ForceArguments = tuple[Any, ...]
"""What :func:`step_forces` takes, in its order."""
STATE, OUT, BODY, FRAMES, POINTS = 0, 3, 4, 18, 19
"""Places in it of what moving on needs."""


@kernel
def step_forces(
    state: Array,
    controls: Array,
    memory: Array,
    out: Array,
    body: Array,
    tyre: Array,
    row: Array,
    law: Array,
    compass: Array,
    shock: Array,
    drive: Array,
    hull: Array,
    bristles: Array,
    patch: Array,
    hull_bristles: Array,
    z: Array,
    top: Array,
    header: Array,
    frames: Array,
    points: Array,
    wheels: Array,
) -> None:
    """Read the state, let every force element act, write base wrench and joint efforts.

    ``frames`` (11, 3, 3) and ``points`` (4, 11, 6) are work arrays: rotations; origins, spins, velocities, wrenches
    in their first columns. Both hold the kinematics of this step afterwards.
    """
    origin = points[0]
    spin = points[1]
    velocity = points[2]
    wrench = points[3]
    out[:] = 0.0
    wrench[:, :] = 0.0
    forward(state, body, drive, frames, origin, spin, velocity)
    tyre_forces(
        controls,
        memory,
        tyre,
        row,
        law,
        compass,
        bristles,
        patch,
        z,
        top,
        header,
        frames,
        origin,
        spin,
        velocity,
        wrench,
        wheels,
    )
    hull_forces(controls, memory, hull, hull_bristles, z, header, frames, origin, spin, velocity, wrench)
    shock_forces(shock, frames, origin, spin, velocity, wrench)
    drive_forces(state, controls, memory, drive, frames, wrench, out)
    steer_forces(state, controls, memory, drive, out)
    generalise(state, body, frames, origin, wrench, out)
    memory[M_TIME] += controls[U_DT]
