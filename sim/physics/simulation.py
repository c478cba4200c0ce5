"""One truck on one ground, step by step: engine, force kernel and the arrays between them."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import RigidModel
from sim.physics.arrays import (
    M_SIZE,
    O_SIZE,
    S_POS,
    S_QUAT,
    S_SIZE,
    U_BRAKE,
    U_DT,
    U_DUTY,
    U_GRIP,
    U_SIZE,
    U_STEER,
    U_VOLTAGE,
    W_SIZE,
    Motion,
    model_arrays,
)
from sim.physics.engine import Engine
from sim.physics.engine_compiled import TreeEngine
from sim.physics.forces import ForceArguments
from sim.physics.ground_sampling import ground_arrays, height
from sim.physics.observe import V_SIZE, observe
from sim.physics.rotation import quaternion
from sim.physics.tyre_patch import tread_arrays
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
STEP = 1.0e-3
"""s; from the convergence study."""
EngineMaker = Callable[[RigidModel, float, tuple[float, float, float]], Engine]


class Simulation:
    """A truck driven over a ground with given throttle, steering and brake.

    All arrays are made once; :meth:`advance` allocates nothing in the kernels.
    """

    def __init__(
        self,
        model: RigidModel,
        ground: Heightfield,
        *,
        step: float = STEP,
        grip_scale: float = 1.0,
        voltage_scale: float = 1.0,
        gravity: tuple[float, float, float] = (0.0, 0.0, -GRAVITY),
        engine: EngineMaker = TreeEngine,
    ) -> None:
        self.model = model
        self.step = step
        self.gravity = np.array(gravity)
        self.engine = engine(model, step, gravity)
        self.arrays = model_arrays(model, self.engine.base_p, self.engine.base_rotation)
        self.stand_on(ground)
        self.state = np.zeros(S_SIZE)
        self.controls = np.zeros(U_SIZE)
        self.controls[U_DT], self.controls[U_GRIP], self.controls[U_VOLTAGE] = step, grip_scale, voltage_scale
        self.memory = np.zeros(M_SIZE)
        self.out = np.zeros(O_SIZE)
        self.bristles, self.load, self.patch = tread_arrays(model.tyres[0])
        self.hull_bristles = np.zeros((len(self.arrays.hull.body), 4))
        self.frames = np.zeros((len(model.bodies), 3, 3))
        self.points = np.zeros((4, len(model.bodies), 6))
        self.motion = Motion(self.frames, self.points[0], self.points[1], self.points[2])
        self.wheels = np.zeros((4, W_SIZE))
        self.contact = np.zeros((4, 3))
        self.support = np.zeros((4 + len(self.arrays.hull.body), 3))
        self.view = np.zeros(V_SIZE)

    def stand_on(self, ground: Heightfield) -> None:
        """Put another ground under the truck."""
        self.ground = ground
        self._ground = ground_arrays(ground)

    def place(self, x: float, y: float, heading: float) -> None:
        """Set the truck down at rest: rear axle's ground point at (x, y) m, turned by ``heading`` rad.

        It stands at ride height on the plane that fits the ground under its four wheels best, raised so that no
        tyre starts deeper in the ground than at rest.
        """
        model = self.model
        half = 0.5 * np.repeat(model.track, 2) * np.array([1.0, -1.0, 1.0, -1.0])
        local = np.column_stack([np.repeat([model.wheelbase, 0.0], 2), half])
        cos, sin = math.cos(heading), math.sin(heading)
        spots = local @ np.array([[cos, sin], [-sin, cos]]) + (x, y)
        heights = np.array([self._height(px, py) for px, py in spots])
        basis = np.column_stack([np.ones(4), local])
        (level, pitch, roll), *_ = np.linalg.lstsq(basis, heights, rcond=None)
        level += float(np.max(heights - basis @ (level, pitch, roll)))
        forward = np.array([cos, sin, pitch]) / math.sqrt(1.0 + pitch * pitch)
        up = np.cross(forward, np.array([-sin, cos, roll]))
        up /= np.linalg.norm(up)
        rotation = np.column_stack([forward, np.cross(up, forward), up])
        self.put(np.array([x, y, level]), rotation)

    def put(self, p_WC: Array, R_WC: Array) -> None:
        """Set the chassis frame to a pose at rest, joints at ride height, force elements without memory."""
        self.state[:] = 0.0
        self.state[S_POS:S_QUAT] = p_WC + R_WC @ self.engine.base_p
        self.state[S_QUAT : S_QUAT + 4] = quaternion(R_WC @ self.engine.base_rotation)
        self.memory[:] = 0.0
        self.bristles[:] = 0.0
        self.hull_bristles[:] = 0.0
        self.view[:] = 0.0
        self.engine.reset(self.state)

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        """Turn gravity (world frame, m/s^2), as tilting the ground would."""
        self.gravity[:] = gravity
        self.engine.set_gravity(gravity)

    def command(self, duty: float, steer: float, brake: bool) -> None:
        """Throttle duty (-1 to 1), mean steering angle (rad) and drag brake from now on."""
        self.controls[U_DUTY] = duty
        self.controls[U_STEER] = steer
        self.controls[U_BRAKE] = float(brake)

    @property
    def arguments(self) -> ForceArguments:
        """What :func:`sim.physics.forces.step_forces` takes."""
        return (
            self.state, self.controls, self.memory, self.out, self.arrays, self.bristles, self.load, self.patch,
            self.hull_bristles, self._ground, self.motion, self.points[3], self.wheels,
        )  # fmt: skip

    def advance(self, steps: int) -> None:
        """Move on by a number of time steps under the present command."""
        self.engine.run(steps, self.arguments)

    def look(self, lane: Array, look_ahead: float, interval: float) -> Array:
        """Observe place, speed, attitude and margin; ``interval`` s since the last look. Returns the view row."""
        observe(
            self.arrays.body, self.motion, self.wheels, lane, look_ahead, interval, self.gravity, self.contact,
            self.arrays.hull, self.hull_bristles, self.support, self.view,
        )  # fmt: skip
        return self.view

    def _height(self, x: float, y: float) -> float:
        return float(height(self._ground, x, y))

    def close(self) -> None:
        """Give the engine back."""
        self.engine.close()

    def __enter__(self) -> Simulation:
        """Use as a context so that the engine is always given back."""
        return self

    def __exit__(self, *_: object) -> None:
        """Give the engine back."""
        self.close()
