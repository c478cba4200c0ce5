"""The same truck, ground and wheel command with generic contact: what one would use otherwise.

Both engines get our bodies, joints and inertias, springs of the same rate on the same joints, the same friction, the
same 2 mm ground and the same step. Wheels are the best shape each engine offers for them, hard parts are boxes and
cylinders that meet the ground only.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from xml.etree.ElementTree import SubElement, fromstring, tostring

import numpy as np
import pybullet
from numpy.typing import NDArray

from generic_truck import TREAD_SPEED, mujoco_text, spring_rates, wheel_size
from models.massprops import GRAVITY
from models.rigid import AXLE_BODIES, JOINT_COUNT, KNUCKLE_BODIES, WHEEL_BODIES, RigidModel
from sim.physics.engine_bullet import JOINTS, _tree_text, principal_frame, show_ground
from sim.physics.simulation import STEP
from sim.validation.mujoco_truck import heights
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
Pace = Callable[[], float]
"""Microseconds per step of the floor, timed now."""
WARM_UP = 300
PACE = 250
"""Steps between two looks at the floor."""


@dataclass(frozen=True)
class Generic:
    """What a generic engine took and whether it got across."""

    name: str
    settings: str
    step_us: float
    floor_us: float
    """Median of the floor's blocks timed in between: by it the machine's moods cancel out of ratios."""
    reached_mm: float
    finish_mm: float
    seconds: float
    """Simulated."""

    @property
    def crossed(self) -> bool:
        """Whether the truck got over the ledge."""
        return bool(self.reached_mm >= self.finish_mm)


# --- PyBullet's own contact --------------------------------------------------------------------------------------


def bullet(model: RigidModel, obstacle: Obstacle, seconds: float, pace: Pace) -> Generic:
    """PyBullet's height field with cylinder wheels, default solver."""
    radius, half = wheel_size(model)
    robot = fromstring(_tree_text(model, [principal_frame(body.I_BBcm) for body in model.bodies]))
    shapes = dict.fromkeys(WHEEL_BODIES, ("cylinder", radius, 2.0 * half))
    shapes |= {body: ("cylinder", 0.24 * radius, 0.4 * float(model.track[0])) for body in AXLE_BODIES}
    for body, (kind, r, length) in shapes.items():
        collision = SubElement(robot.findall("link")[body], "collision")
        SubElement(collision, "origin", xyz="0 0 0", rpy=f"{math.pi / 2!r} 0 0")
        SubElement(SubElement(collision, "geometry"), kind, radius=repr(r), length=repr(length))
    client = pybullet.connect(pybullet.DIRECT)
    try:
        truck = _load(tostring(robot, encoding="unicode"), client)
        ground = show_ground(obstacle.ground, client)
        pybullet.changeDynamics(ground, -1, lateralFriction=model.tyres[0].grip, physicsClientId=client)
        stiffness, damping = spring_rates(model, obstacle.ground)
        return _bullet_drive(model, obstacle, truck, client, stiffness, damping, seconds, pace)
    finally:
        pybullet.disconnect(client)


def _load(text: str, client: int) -> int:
    import os
    from tempfile import NamedTemporaryFile

    with NamedTemporaryFile("w", suffix=".urdf", delete=False) as file:
        file.write(text)
    pybullet.setPhysicsEngineParameter(enableFileCaching=0, physicsClientId=client)
    pybullet.setTimeStep(STEP, physicsClientId=client)
    pybullet.setGravity(0.0, 0.0, -GRAVITY, physicsClientId=client)
    flags = (
        pybullet.URDF_USE_INERTIA_FROM_FILE | pybullet.URDF_MAINTAIN_LINK_ORDER | pybullet.URDF_USE_IMPLICIT_CYLINDER
    )
    truck = int(pybullet.loadURDF(file.name, flags=flags, physicsClientId=client))
    os.unlink(file.name)
    return truck


def _bullet_drive(
    model: RigidModel, obstacle: Obstacle, truck: int, client: int, stiffness: Array, damping: Array, seconds: float,
    pace: Pace,
) -> Generic:  # fmt: skip
    where = {"physicsClientId": client}
    for link in range(-1, JOINT_COUNT):
        pybullet.changeDynamics(
            truck, link, linearDamping=0.0, angularDamping=0.0, jointDamping=0.0, lateralFriction=1.0, **where
        )
    start = obstacle.start
    base = np.array([start.x, start.y, 0.0005]) + model.bodies[0].p_BBcm
    turn = pybullet.getBasePositionAndOrientation(truck, **where)[1]
    pybullet.resetBasePositionAndOrientation(truck, base.tolist(), turn, **where)
    pybullet.setJointMotorControlArray(truck, JOINTS, pybullet.VELOCITY_CONTROL, forces=[0.0] * JOINT_COUNT, **where)
    knuckles = [body - 1 for body in KNUCKLE_BODIES]
    pybullet.setJointMotorControlArray(
        truck, knuckles, pybullet.POSITION_CONTROL, targetPositions=[0.0, 0.0], forces=[1.0, 1.0], **where
    )
    springs = [0, 1, 6, 7]
    wheels = [body - 1 for body in WHEEL_BODIES]
    radius, _ = wheel_size(model)
    torque = model.mass * GRAVITY * radius
    times: list[float] = []
    floors: list[float] = []
    cg = model.cg()
    reached = 0.0
    steps = round(seconds / STEP)
    for k in range(steps):
        if k in (0, WARM_UP):
            speed = 0.0 if k == 0 else TREAD_SPEED * model.wheelbase / radius
            pybullet.setJointMotorControlArray(
                truck, wheels, pybullet.VELOCITY_CONTROL, targetVelocities=[speed] * 4, forces=[torque] * 4, **where
            )
        joints = pybullet.getJointStates(truck, springs, **where)
        efforts = [-stiffness[j] * state[0] - damping[j] * state[1] for j, state in zip(springs, joints, strict=True)]
        pybullet.setJointMotorControlArray(truck, springs, pybullet.TORQUE_CONTROL, forces=efforts, **where)
        begun = time.thread_time()
        pybullet.stepSimulation(client)
        times.append(time.thread_time() - begun)
        if k % PACE == 0:
            floors.append(pace())
        if k % 50 == 0:
            place, _ = pybullet.getBasePositionAndOrientation(truck, **where)
            reached = max(reached, place[0] - model.bodies[0].p_BBcm[0] + cg[0])
            if reached > obstacle.finish_s:
                break
    return Generic("PyBullet height field, cylinder wheels", "implicit cylinders, default solver (50 iterations)",
                   statistics.median(times[WARM_UP:]) * 1e6, statistics.median(floors), float(reached) * 1e3,
                   obstacle.finish_s * 1e3, len(times) * STEP)


# --- MuJoCo ------------------------------------------------------------------------------------------------------


def mujoco_run(model: RigidModel, obstacle: Obstacle, seconds: float, wheel: str, pace: Pace) -> Generic:
    """MuJoCo's height field with ``cylinder`` or ``ellipsoid`` wheels."""
    import mujoco

    ground = obstacle.ground
    rates = spring_rates(model, ground)
    world = mujoco.MjModel.from_xml_string(mujoco_text(model, ground, wheel, rates))
    world.hfield_data[:] = heights(ground)
    data = mujoco.MjData(world)
    data.qpos[:3] = (obstacle.start.x, obstacle.start.y, 0.001)
    radius, _ = wheel_size(model)
    speed = TREAD_SPEED * model.wheelbase / radius
    reached, times, floors = 0.0, [], []
    for k in range(round(seconds / STEP)):
        data.ctrl[:] = 0.0 if k < WARM_UP else speed
        begun = time.thread_time()
        mujoco.mj_step(world, data)
        times.append(time.thread_time() - begun)
        if k % PACE == 0:
            floors.append(pace())
        if k % 50 == 0:
            reached = max(reached, float(data.subtree_com[1][0]))
            if reached > obstacle.finish_s:
                break
    return Generic(f"MuJoCo {mujoco.__version__} height field, {wheel} wheels",
                   "implicitfast, elliptic cone, Newton 20/10, impratio 4, contact time 4 ms",
                   statistics.median(times[WARM_UP:]) * 1e6, statistics.median(floors), float(reached) * 1e3,
                   obstacle.finish_s * 1e3, len(times) * STEP)
