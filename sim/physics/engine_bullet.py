"""PyBullet behind the engine seam, none of its contacts: the second engine, and a window to watch the first in.

It knows nothing of our dynamics, so a trial that ends alike in both speaks for both. All ground and force-element
forces arrive as exact generalised forces: a step needs three reads and three writes whatever the number of contacts.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from collections.abc import Iterable
from itertools import permutations
from tempfile import NamedTemporaryFile
from xml.etree.ElementTree import Element, SubElement, fromstring, indent, tostring

import numpy as np
from numpy.typing import NDArray

from models.rigid import JOINT_COUNT, PARENTS, WHEEL_BODIES, RigidModel
from sim.errors import SimError
from sim.physics.arrays import O_FORCE, O_TAU, O_TORQUE, S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_SPIN, S_VEL
from sim.physics.engine import Engine
from sim.physics.engine_compiled import TreeEngine
from sim.physics.forces import ForceArguments
from sim.physics.rotation import quaternion, roll_pitch_yaw
from sim.physics.silence import hushed
from terrain.heightfield import Heightfield

with hushed():  # it prints its build time when it is imported
    import pybullet

Array = NDArray[np.float64]
JOINTS = tuple(range(JOINT_COUNT))

_idle: list[int] = []
"""Empty worlds of this process: opening one costs as much as a hundred steps, and an empty one has no memory."""


def principal_frame(inertia: Array) -> tuple[Array, Array]:
    """Principal moments (3,) and right-handed principal axes (columns of (3, 3)) of a rotational inertia.

    The axes are ordered and signed to lie close to the given ones, so that their roll, pitch and yaw are small and
    lose no digits.
    """
    moments, axes = np.linalg.eigh(inertia)
    order = max(permutations(range(3)), key=lambda p: sum(abs(axes[i, p[i]]) for i in range(3)))
    moments, axes = moments[list(order)], axes[:, order]
    axes = axes * np.where(np.diag(axes) < 0.0, -1.0, 1.0)
    if np.linalg.det(axes) < 0.0:
        axes[:, 2] = -axes[:, 2]
    return moments, axes


def _numbers(values: Iterable[float]) -> str:
    return " ".join(repr(float(value)) for value in values)


def _tree_text(model: RigidModel, frames: list[tuple[Array, Array]]) -> str:
    """The tree as URDF, masses and joints only, every number with all its digits.

    A file is the one door by which PyBullet takes a link's inertia without a collision shape.
    """
    robot = Element("robot", name="truck")
    for body, (moments, axes) in zip(model.bodies, frames, strict=True):
        inertial = SubElement(SubElement(robot, "link", name=body.name), "inertial")
        SubElement(inertial, "origin", xyz=_numbers(body.p_BBcm), rpy=_numbers(roll_pitch_yaw(axes)))
        SubElement(inertial, "mass", value=repr(body.mass))
        values = {f"i{a}{a}": repr(float(m)) for a, m in zip("xyz", moments, strict=True)}
        SubElement(inertial, "inertia", values | {"ixy": "0", "ixz": "0", "iyz": "0"})
    for body, parent in zip(model.bodies[1:], PARENTS[1:], strict=True):
        kind = "continuous" if body.joint == "revolute" else "prismatic"
        joint = SubElement(robot, "joint", name=f"{body.name}_joint", type=kind)
        SubElement(joint, "parent", link=model.bodies[parent].name)
        SubElement(joint, "child", link=body.name)
        SubElement(joint, "origin", xyz=_numbers(body.p_PJ))
        SubElement(joint, "axis", xyz=_numbers(body.axis))
        # An upper limit below the lower one means none: stops are force elements of ours.
        SubElement(joint, "limit", lower="1", upper="-1", effort="1e9", velocity="1e9")
    indent(robot)  # its reader breaks lines of more than some thousand characters, wherever that may be
    return tostring(robot, encoding="unicode")


class BulletEngine(Engine):
    """One truck in a PyBullet world of its own."""

    def __init__(self, model: RigidModel, step: float, gravity: tuple[float, float, float]) -> None:
        """Build the tree. ``step`` in s, ``gravity`` in the world frame, m/s^2."""
        self._client = self._open()
        self._where = {"physicsClientId": self._client}
        pybullet.setTimeStep(step, **self._where)
        pybullet.setGravity(*gravity, **self._where)
        # Files are remembered by name: without this a rewritten file would bring back the old truck.
        pybullet.setPhysicsEngineParameter(enableFileCaching=0, **self._where)
        frames = [principal_frame(body.I_BBcm) for body in model.bodies]
        self.base_p = np.array(model.bodies[0].p_BBcm)
        self.base_rotation = frames[0][1]
        self._place: tuple[float, float, float] = (0.0, 0.0, 0.0)
        self._body = self._load(self._dressed(_tree_text(model, frames), model))

    def _open(self) -> int:
        return _idle.pop() if _idle else int(pybullet.connect(pybullet.DIRECT))

    def _dressed(self, tree: str, model: RigidModel) -> str:
        return tree  # nobody looks

    def _load(self, tree: str) -> int:
        with NamedTemporaryFile("w", suffix=".urdf", prefix="cragbench-", delete=False) as file:
            file.write(tree)
        try:
            flags = pybullet.URDF_USE_INERTIA_FROM_FILE | pybullet.URDF_MAINTAIN_LINK_ORDER
            truck = int(pybullet.loadURDF(file.name, flags=flags, **self._where))
        finally:
            os.unlink(file.name)
        for link in range(-1, JOINT_COUNT):
            pybullet.changeDynamics(
                truck, link, linearDamping=0.0, angularDamping=0.0, jointDamping=0.0, maxJointVelocity=1.0e5,
                **self._where,
            )  # fmt: skip
        pybullet.setJointMotorControlArray(
            truck, JOINTS, pybullet.VELOCITY_CONTROL, forces=[0.0] * JOINT_COUNT, **self._where
        )
        return truck

    def reset(self, state: Array) -> None:
        """Put the truck into a state; forces are forgotten."""
        s = state.tolist()
        where = self._where
        self._place = (s[S_POS], s[S_POS + 1], s[S_POS + 2])
        pybullet.resetBasePositionAndOrientation(self._body, s[S_POS : S_POS + 3], s[S_QUAT : S_QUAT + 4], **where)
        for joint in JOINTS:
            pybullet.resetJointState(self._body, joint, s[S_Q + joint], s[S_QD + joint], **where)
        pybullet.resetBaseVelocity(self._body, s[S_VEL : S_VEL + 3], s[S_SPIN : S_SPIN + 3], **where)

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        """Change gravity (world frame, m/s^2)."""
        pybullet.setGravity(*gravity, **self._where)

    def read(self, state: Array) -> None:
        """Write the present state into a row."""
        body, client = self._body, self._client
        self._place, turn = pybullet.getBasePositionAndOrientation(body, client)
        velocity, spin = pybullet.getBaseVelocity(body, client)
        joints = pybullet.getJointStates(body, JOINTS, client)
        state[:] = (
            *self._place, *turn, *velocity, *spin, *[joint[0] for joint in joints], *[joint[1] for joint in joints]
        )  # fmt: skip

    def apply(self, out: Array) -> None:
        """Hand over a base wrench (world, at the base frame's origin) and joint efforts for one step."""
        values = out.tolist()
        body, client = self._body, self._client
        # Acts where the base stood when it was last read: the state that the forces belong to.
        pybullet.applyExternalForce(body, -1, values[O_FORCE:O_TORQUE], self._place, pybullet.WORLD_FRAME, client)
        pybullet.applyExternalTorque(body, -1, values[O_TORQUE:O_TAU], pybullet.WORLD_FRAME, client)
        pybullet.setJointMotorControlArray(
            body, JOINTS, pybullet.TORQUE_CONTROL, forces=values[O_TAU:], physicsClientId=client
        )

    def step(self) -> None:
        """Move on by one time step."""
        pybullet.stepSimulation(self._client)

    def close(self) -> None:
        """Take the truck out and keep the empty world for the next engine of this process."""
        if self._client >= 0:
            pybullet.removeBody(self._body, self._client)
            _idle.append(self._client)
            self._client = -1


class _ShownTruck(BulletEngine):
    """The truck in a window, dressed in simple shapes; it is put into states, never stepped."""

    def _open(self) -> int:
        with hushed():
            return int(pybullet.connect(pybullet.GUI))

    def _dressed(self, tree: str, model: RigidModel) -> str:
        robot = fromstring(tree)
        links = robot.findall("link")
        for wheel, tyre in zip(WHEEL_BODIES, model.tyres, strict=True):
            width = 2.0 * float(np.abs(tyre.row_y).max()) * len(tyre.row_y) / max(len(tyre.row_y) - 1, 1)
            _show(links[wheel], "cylinder", {"radius": tyre.row_radius.max(), "length": width}, (0.0, 0.0, 0.0), True)
        for body in sorted({int(b) for b in model.hull.body}):
            for part in range(len(model.hull.names)):
                tips = model.hull.p_tip[(model.hull.body == body) & (model.hull.part == part)]
                if len(tips) > 3:
                    low, high = tips.min(axis=0), tips.max(axis=0)
                    size = np.maximum(high - low, 0.002)
                    _show(links[body], "box", {"size": _numbers(size)}, tuple(0.5 * (low + high)), False)
        indent(robot)
        return tostring(robot, encoding="unicode")

    def show(self, state: Array, reach: float) -> None:
        """Put the truck where a state of ours has it, and the camera ``reach`` m from it; nothing once it is shut."""
        if not pybullet.isConnected(self._client):
            return
        self._state[:] = state
        x, y, z, w = state[S_QUAT:S_VEL]
        bx, by, bz, bw = quaternion(self.base_rotation)
        self._state[S_QUAT:S_VEL] = (
            w * bx + x * bw + y * bz - z * by,
            w * by + y * bw + z * bx - x * bz,
            w * bz + z * bw + x * by - y * bx,
            w * bw - x * bx - y * by - z * bz,
        )
        self.reset(self._state)
        pybullet.resetDebugVisualizerCamera(reach, 35.0, -25.0, self._place, self._client)

    def __init__(self, model: RigidModel, step: float, ground: Heightfield) -> None:
        super().__init__(model, step, (0.0, 0.0, 0.0))
        self._state = np.zeros(S_SIZE)
        pybullet.configureDebugVisualizer(pybullet.COV_ENABLE_GUI, 0, **self._where)
        show_ground(ground, self._client)

    def close(self) -> None:
        if self._client >= 0:
            with hushed():
                if pybullet.isConnected(self._client):
                    pybullet.disconnect(self._client)
            self._client = -1


class BulletWindow(TreeEngine):
    """The default engine with PyBullet's window to watch it in, no faster than real time: the same bits."""

    EVERY = 0.02
    """s between two pictures."""

    def __init__(
        self, model: RigidModel, step: float, gravity: tuple[float, float, float], ground: Heightfield
    ) -> None:
        """Open the window. Raises SimError where there is no screen to open it on."""
        check_screen()
        super().__init__(model, step, gravity)
        self._shown = _ShownTruck(model, step, ground)
        self._reach = 4.0 * model.wheelbase
        self._simulated, self._next, self._began = 0.0, 0.0, time.monotonic()

    @property
    def inside(self) -> None:
        """Nothing: a picture is due between steps."""
        return None

    def run(self, steps: int, arguments: ForceArguments) -> None:
        """Move on by a number of steps; keep pace with the clock, and the camera on the truck."""
        super().run(steps, arguments)
        self._simulated += steps * self._step
        if self._simulated < self._next:
            return
        self._next += self.EVERY
        self._shown.show(self._state, self._reach)
        ahead = self._simulated - (time.monotonic() - self._began)
        if ahead > 0.0:
            time.sleep(ahead)

    def close(self) -> None:
        """Shut the window."""
        self._shown.close()


def _show(link: Element, kind: str, numbers: dict[str, object], at: tuple[float, ...], lateral: bool) -> None:
    visual = SubElement(link, "visual")
    SubElement(visual, "origin", xyz=_numbers(at), rpy=f"{math.pi / 2!r} 0 0" if lateral else "0 0 0")
    shape = {key: value if isinstance(value, str) else repr(float(value)) for key, value in numbers.items()}  # type: ignore[arg-type]
    SubElement(SubElement(visual, "geometry"), kind, shape)


def show_ground(ground: Heightfield, client: int) -> int:
    """Put a height field into a PyBullet world, where it stands in ours; returns its body there."""
    nx, ny = ground.z.shape
    shape = pybullet.createCollisionShape(
        pybullet.GEOM_HEIGHTFIELD,
        meshScale=[ground.spacing, ground.spacing, 1.0],
        heightfieldTextureScaling=1.0,
        heightfieldData=ground.z.T.ravel().tolist(),
        numHeightfieldRows=nx,
        numHeightfieldColumns=ny,
        physicsClientId=client,
    )
    middle = (
        ground.origin[0] + 0.5 * (nx - 1) * ground.spacing,
        ground.origin[1] + 0.5 * (ny - 1) * ground.spacing,
        0.5 * float(ground.z.min() + ground.z.max()),
    )
    return int(pybullet.createMultiBody(0.0, shape, basePosition=middle, physicsClientId=client))


def check_screen() -> None:
    """Raise SimError unless a window can be opened: tried in a process of its own, since a failure ends the process."""
    remedy = "Run it where a screen is, or make a film: cragbench replay"
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        raise SimError("there is no screen here to open a window on", field="--watch", remedy=remedy)
    trial = "import pybullet, sys; sys.exit(0 if pybullet.connect(pybullet.GUI) >= 0 else 1)"
    try:
        done = subprocess.run([sys.executable, "-c", trial], capture_output=True, check=False, timeout=30.0)
        opened = done.returncode == 0 and b"cannot connect" not in (done.stdout + done.stderr).lower()
    except subprocess.TimeoutExpired:
        opened = False
    if not opened:
        raise SimError("the screen takes no window (OpenGL 3 is needed)", field="--watch", remedy=remedy)
