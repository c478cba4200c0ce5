"""The seam to a rigid-body engine: what a trial needs of one, and no more."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.physics.forces import OUT, STATE, ForceArguments, step_forces

Array = NDArray[np.float64]


Inside = tuple[Array, Array, float, Array, Array, Array]
"""State, gravity, step and room to work: what :func:`sim.physics.stepping.run_steps` takes of an engine."""


class Engine(Protocol):
    """A truck's tree of bodies under gravity, moved by a base wrench and joint efforts.

    State rows follow :mod:`sim.physics.arrays` (``S_*``): the base frame's pose and twist in the world, then joint
    positions and speeds.
    """

    base_p: Array
    """(3,) base frame's origin in the chassis frame, m."""
    base_rotation: Array
    """(3, 3) base frame's axes in the chassis frame."""

    @property
    def inside(self) -> Inside | None:
        """Its arrays, if whole attempts may be compiled around them; None where every step is asked for."""
        return None

    def reset(self, state: Array) -> None:
        """Put the truck into a state; forces are forgotten."""

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        """Change gravity (world frame, m/s^2): turning it is how a tilt table is run."""

    def read(self, state: Array) -> None:
        """Write the present state into a row."""

    def apply(self, out: Array) -> None:
        """Hand over a base wrench (world, at the base frame's origin) and joint efforts for one step."""

    def step(self) -> None:
        """Move on by one time step."""

    def run(self, steps: int, arguments: ForceArguments) -> None:
        """Move on by a number of steps under the forces that the arguments give."""
        state, out = arguments[STATE], arguments[OUT]
        read, apply, step = self.read, self.apply, self.step
        for _ in range(steps):
            read(state)
            step_forces(*arguments)
            apply(out)
            step()

    def close(self) -> None:
        """Give back what the engine holds."""
