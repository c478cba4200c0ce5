"""All forces of one step in a single compiled call."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_SINK, M_TIME, U_DT, W_SINK, ModelArrays, Motion
from sim.physics.compiled import kernel
from sim.physics.drive_force import drive_forces, steer_forces
from sim.physics.ground_sampling import Ground
from sim.physics.hull_force import hull_forces
from sim.physics.kinematics import forward, generalise
from sim.physics.lanes import ALONE, leads, meet
from sim.physics.shock_force import shock_forces
from sim.physics.tyre_force import tyre_forces

Array = NDArray[np.float64]
ForceArguments = tuple[Any, ...]
"""What :func:`step_forces` takes, in its order."""
STATE, CONTROLS, MEMORY, OUT, MODEL, HULL_BRISTLES, MOTION, WHEELS = 0, 1, 2, 3, 4, 8, 10, 12
"""Places in it of what moving on and looking need."""


@kernel
def step_forces(
    state: Array, controls: Array, memory: Array, out: Array, model: ModelArrays, bristles: Array, load: Array,
    patch: Array, hull_bristles: Array, ground: Ground, motion: Motion, wrench: Array, wheels: Array,
    lane: int = ALONE,
) -> None:  # fmt: skip
    """Read the state, let every force element act, write base wrench and joint efforts.

    ``motion`` and ``wrench`` (11, 6) are room to work; ``motion`` holds the kinematics of this step afterwards. Lanes
    that work together have a ``load`` and a ``patch`` of their own each (:mod:`sim.physics.lanes`).
    """
    if leads(lane):
        out[:] = 0.0
        wrench[:, :] = 0.0
        forward(state, model.body, model.drive, motion)
    meet(lane)
    tyre_forces(
        controls, memory, model.tyre, model.pressure, bristles, load, patch, ground, motion, wrench, wheels, lane
    )  # fmt: skip
    meet(lane)
    if not leads(lane):
        return
    for wheel in range(wheels.shape[0]):
        memory[M_SINK] = max(memory[M_SINK], wheels[wheel, W_SINK])
    hull_forces(controls, memory, model.hull, hull_bristles, ground, motion, wrench)
    shock_forces(model.shock, motion, wrench)
    drive_forces(state, controls, memory, model.drive, motion.rotation, wrench, out)
    steer_forces(state, controls, memory, model.drive, out)
    generalise(state, model.body, motion, wrench, out)
    memory[M_TIME] += controls[U_DT]
