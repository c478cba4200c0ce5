"""The default engine: the tree's own dynamics, compiled together with the forces, no exchange between the two."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel
from sim.physics.arrays import S_QUAT, S_SIZE, Motion, model_arrays
from sim.physics.dynamics import BODIES, C_SIZE, FREEDOMS
from sim.physics.engine import Engine, Inside
from sim.physics.forces import ForceArguments
from sim.physics.stepping import free_step, run_steps

Array = NDArray[np.float64]


class TreeEngine(Engine):
    """One truck's tree of bodies; its base frame stands in the chassis' centre of mass, axes along the chassis."""

    def __init__(self, model: RigidModel, step: float, gravity: tuple[float, float, float]) -> None:
        """Build the tree. ``step`` in s, ``gravity`` in the world frame, m/s^2."""
        self.base_p = np.array(model.bodies[0].p_BBcm)
        self.base_rotation = np.eye(3)
        arrays = model_arrays(model, self.base_p, self.base_rotation)
        self._body, self._drive = arrays.body, arrays.drive
        self._step, self._gravity = step, np.array(gravity, dtype=float)
        self._state = np.zeros(S_SIZE)
        self._state[S_QUAT + 3] = 1.0
        self._out = np.zeros(FREEDOMS)
        self._work = np.zeros((BODIES, C_SIZE)), np.zeros((FREEDOMS, FREEDOMS)), np.zeros(FREEDOMS)
        self._motion = Motion(np.zeros((BODIES, 3, 3)), *np.zeros((3, BODIES, 6)))

    @property
    def inside(self) -> Inside | None:
        """Its arrays, for what is compiled together with it."""
        return self._state, self._gravity, self._step, *self._work

    def reset(self, state: Array) -> None:
        """Put the truck into a state; forces are forgotten."""
        self._state[:] = state
        self._out[:] = 0.0

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        """Change gravity (world frame, m/s^2)."""
        self._gravity[:] = gravity

    def read(self, state: Array) -> None:
        """Write the present state into a row."""
        state[:] = self._state

    def apply(self, out: Array) -> None:
        """Hand over a base wrench (world, at the base frame's origin) and joint efforts for one step."""
        self._out[:] = out

    def step(self) -> None:
        """Move on by one time step."""
        free_step(
            self._state, self._out, self._body, self._drive, self._motion, self._gravity, self._step, *self._work,
        )  # fmt: skip
        self._out[:] = 0.0

    def run(self, steps: int, arguments: ForceArguments) -> None:
        """Move on by a number of steps under the forces that the arguments give, all in one compiled call."""
        run_steps(steps, self._state, self._gravity, self._step, *self._work, arguments)

    def close(self) -> None:
        """Nothing to give back."""
