"""The exported truck in other engines: mass, inertia and accelerations by general-purpose libraries.

The libraries are extras and are imported by name where they are used.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.massprops import GRAVITY
from models.rigid import BODY_NAMES, JOINT_COUNT, RigidModel
from models.urdf import write_urdf
from sim.physics.arrays import (
    O_FORCE,
    O_TAU,
    O_TORQUE,
    S_POS,
    S_Q,
    S_QD,
    S_QUAT,
    S_SIZE,
    S_SPIN,
    S_VEL,
    Motion,
    model_arrays,
)
from sim.physics.kinematics import forward
from sim.validation.check import Group, Measured, absolute
from sim.validation.pair import ENGINES, acceleration
from sim.validation.states import forces_for, random_state
from sim.validation.truck import sheet, truck

GROUP = Group("engines", "The same truck in other engines")
Array = NDArray[np.float64]
STATES = 6


@contextmanager
def exported(name: str) -> Iterator[Path]:
    """URDF file of a scenario truck, in a folder that goes away afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        yield write_urdf(sheet(name), Path(folder), truck(name))


def chassis_arrays(model: RigidModel) -> Any:
    """Model arrays whose base frame is the chassis frame itself, as the exported file has it."""
    return model_arrays(model, np.zeros(3), np.eye(3))


def our_mass_matrix(model: RigidModel, state: Array) -> Array:
    """Joint-space mass matrix (16, 16) from our kinematics: world twist at the chassis origin, then the joints."""
    arrays, count = chassis_arrays(model), len(model.bodies)
    columns = []
    for k in range(6 + JOINT_COUNT):
        motion = state.copy()
        motion[S_VEL:S_Q] = 0.0
        motion[S_QD:] = 0.0
        motion[S_VEL + k if k < 6 else S_QD + k - 6] = 1.0
        frames, points = np.zeros((count, 3, 3)), np.zeros((3, count, 6))
        forward(motion, arrays.body, arrays.drive, Motion(frames, *points))
        column = []
        for i, body in enumerate(model.bodies):
            spin = points[1, i, :3]
            speed = points[2, i, :3] + np.cross(spin, frames[i] @ body.p_BBcm)
            values, axes = np.linalg.eigh(frames[i] @ body.I_BBcm @ frames[i].T)
            column += [*(np.sqrt(body.mass) * speed), *(np.sqrt(values) * (axes.T @ spin))]
        columns.append(column)
    square_root = np.array(columns).T
    return np.asarray(square_root.T @ square_root)


class Mujoco:
    """The exported truck in MuJoCo, floating, without limits and contacts."""

    def __init__(self, file: Path) -> None:
        """Load it and give its chassis six degrees of freedom."""
        self.mj: Any = import_module("mujoco")
        text = file.read_text(encoding="utf-8")
        # MuJoCo's own element: keep the tree and the inertias as they are written.
        options = '<compiler fusestatic="false" balanceinertia="false" strippath="false" discardvisual="true"/>'
        options = f"<mujoco>{options}</mujoco>"
        start = text.index(">", text.index("<robot")) + 1
        other = file.with_name("mujoco.urdf")
        other.write_text(text[:start] + options + text[start:], encoding="utf-8")
        spec = self.mj.MjSpec.from_file(str(other))
        spec.body("chassis").add_freejoint()
        self.model = spec.compile()
        self.model.opt.disableflags |= int(self.mj.mjtDisableBit.mjDSBL_CONSTRAINT)
        self.model.opt.gravity[:] = (0.0, 0.0, -GRAVITY)
        self.data = self.mj.MjData(self.model)
        joints = [self.model.joint(name) for name in BODY_NAMES[1:]]
        self.q = [int(joint.qposadr[0]) for joint in joints]
        self.v = [int(joint.dofadr[0]) for joint in joints]

    def set(self, state: Array) -> Array:
        """Take a state whose base is the chassis frame; returns the map from our speeds to MuJoCo's (16, 16)."""
        x, y, z, w = state[S_QUAT:S_VEL]
        self.data.qpos[:7] = (*state[S_POS:S_QUAT], w, x, y, z)
        self.data.qpos[self.q] = state[S_Q:S_QD]
        turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
        self.data.qvel[:3] = state[S_VEL:S_SPIN]
        self.data.qvel[3:6] = turn.T @ state[S_SPIN:S_Q]
        self.data.qvel[self.v] = state[S_QD:]
        self.mj.mj_forward(self.model, self.data)
        change = np.zeros((16, 16))
        change[:3, :3] = np.eye(3)
        change[3:6, 3:6] = turn.T
        change[self.v, 6 + np.arange(JOINT_COUNT)] = 1.0
        return change

    def mass_matrix(self) -> Array:
        """In MuJoCo's own speeds."""
        full = np.zeros((16, 16))
        try:
            self.mj.mj_fullM(self.model, self.data, full)
        except TypeError:  # before MuJoCo 4
            self.mj.mj_fullM(self.model, full, self.data.qM)
        return full


class Pinocchio:
    """The exported truck in Pinocchio, floating."""

    def __init__(self, file: Path) -> None:
        """Load it on a free-flyer joint."""
        self.pin: Any = import_module("pinocchio")
        self.model = self.pin.buildModelFromUrdf(str(file), self.pin.JointModelFreeFlyer())
        self.model.gravity.linear = np.array([0.0, 0.0, -GRAVITY])
        self.data = self.model.createData()
        self.ids = [self.model.getJointId(name) for name in BODY_NAMES[1:]]

    def set(self, state: Array) -> tuple[Array, Array, Array]:
        """Positions, speeds, and the map from our speeds to Pinocchio's (16, 16)."""
        q, v = self.pin.neutral(self.model), np.zeros(16)
        turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
        q[:3], q[3:7] = state[S_POS:S_QUAT], state[S_QUAT:S_VEL]
        change = np.zeros((16, 16))
        change[:3, :3] = change[3:6, 3:6] = turn.T
        for k, index in enumerate(self.ids):
            joint = self.model.joints[index]
            angle = state[S_Q + k]
            # A wheel without limits is kept as cosine and sine.
            q[joint.idx_q : joint.idx_q + joint.nq] = [angle] if joint.nq == 1 else [np.cos(angle), np.sin(angle)]
            change[joint.idx_v, 6 + k] = 1.0
        v[:] = change @ np.concatenate([state[S_VEL:S_Q], state[S_QD:]])
        return q, v, change


def _apart(ours: Array, theirs: Array) -> float:
    """Largest difference over the size of the entries' own rows and columns."""
    scale = np.sqrt(np.outer(np.diag(ours), np.diag(ours)))
    return float(np.max(np.abs(ours - theirs) / scale))


@GROUP.check("mass and CG, yourdfpy", "The exported file's links add up to the truck's mass and centre of gravity",
             source="yourdfpy reads the file and places its links", known="other library",
             unit="relative", tolerance=absolute(1.0e-8, "numbers are written with all their digits"),
             needs=("yourdfpy",))
def mass_yourdfpy() -> Measured:
    """Mass, and the three coordinates over the wheelbase."""
    model = truck("takin")
    with exported("takin") as file:
        robot = import_module("yourdfpy").URDF.load(str(file), load_meshes=False, build_scene_graph=True)
        total, moment = 0.0, np.zeros(3)
        for name, link in robot.link_map.items():
            place = robot.get_transform(name) @ link.inertial.origin
            total += link.inertial.mass
            moment += link.inertial.mass * place[:3, 3]
    apart = np.abs(moment / total - model.cg()) / model.wheelbase
    return Measured([0.0] * 4, [abs(total / model.mass - 1.0), *apart.tolist()])


@GROUP.check("mass and CG, Pinocchio", "The exported file in Pinocchio has the truck's mass and centre of gravity",
             source="Pinocchio reads the file", known="other library",
             unit="relative", tolerance=absolute(1.0e-8, "numbers are written with all their digits"),
             needs=("pinocchio",))
def mass_pinocchio() -> Measured:
    """Mass, and the three coordinates over the wheelbase."""
    model = truck("takin")
    with exported("takin") as file:
        other = Pinocchio(file)
    q = other.pin.neutral(other.model)
    centre = other.pin.centerOfMass(other.model, other.data, q)
    total = float(other.pin.computeTotalMass(other.model))
    apart = np.abs(centre - model.cg()) / model.wheelbase
    return Measured([0.0] * 4, [abs(total / model.mass - 1.0), *apart.tolist()])


@GROUP.check("mass and CG, MuJoCo", "The exported file in MuJoCo has the truck's mass and centre of gravity",
             source="MuJoCo reads the file", known="other library",
             unit="relative", tolerance=absolute(1.0e-8, "numbers are written with all their digits"),
             needs=("mujoco",))
def mass_mujoco() -> Measured:
    """Mass, and the three coordinates over the wheelbase."""
    model = truck("takin")
    with exported("takin") as file:
        other = Mujoco(file)
    level = np.zeros(S_SIZE)
    level[S_QUAT + 3] = 1.0
    other.set(level)
    apart = np.abs(other.data.subtree_com[1] - model.cg()) / model.wheelbase
    return Measured([0.0] * 4, [abs(float(other.model.body_mass.sum()) / model.mass - 1.0), *apart.tolist()])


@GROUP.check("mass matrix, Pinocchio", f"Joint-space mass matrix, {STATES} random states",
             source="Pinocchio's composite rigid body algorithm on the exported file", known="other library",
             unit="relative", tolerance=absolute(1.0e-8, "rounding through eleven bodies"), needs=("pinocchio",))
def matrix_pinocchio() -> Measured:
    """Largest entry difference over the geometric mean of its diagonal entries."""
    got = []
    with exported("takin") as file:
        other = Pinocchio(file)
    for seed in range(STATES):
        state = random_state(seed)
        q, _, change = other.set(state)
        upper = np.triu(np.array(other.pin.crba(other.model, other.data, q)))
        theirs = change.T @ (upper + np.triu(upper, 1).T) @ change
        got.append(_apart(our_mass_matrix(truck("takin"), state), theirs))
    return Measured([0.0] * STATES, got)


@GROUP.check("mass matrix, MuJoCo", f"Joint-space mass matrix, {STATES} random states",
             source="MuJoCo on the exported file", known="other library",
             unit="relative", tolerance=absolute(1.0e-8, "rounding through eleven bodies"), needs=("mujoco",))
def matrix_mujoco() -> Measured:
    """Largest entry difference over the geometric mean of its diagonal entries."""
    got = []
    with exported("takin") as file:
        other = Mujoco(file)
    for seed in range(STATES):
        state = random_state(seed)
        change = other.set(state)
        theirs = change.T @ other.mass_matrix() @ change
        got.append(_apart(our_mass_matrix(truck("takin"), state), theirs))
    return Measured([0.0] * STATES, got)


def at_chassis(model: RigidModel, state: Array, accelerations: Array) -> Array:
    """The same accelerations with the base point's replaced by the chassis origin's."""
    turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
    arm, spin = -turn @ model.bodies[0].p_BBcm, state[S_SPIN:S_Q]
    moved = accelerations.copy()
    moved[:3] += np.cross(accelerations[3:6], arm) + np.cross(spin, np.cross(spin, arm))
    return moved


def generalised(model: RigidModel, state: Array, out: Array) -> Array:
    """Base wrench and joint efforts as generalised forces for world twists of the chassis origin (16,)."""
    turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
    force = out[O_FORCE:O_TORQUE]
    moment = out[O_TORQUE:O_TAU] + np.cross(turn @ model.bodies[0].p_BBcm, force)
    return np.concatenate([force, moment, out[O_TAU:]])


def _difference(ours: Array, theirs: Array) -> float:
    # Each speed for itself, at its own size; below one m/s^2 or rad/s^2 the difference as it is.
    return float(np.max(np.abs(ours - theirs) / np.maximum(np.abs(theirs), 1.0)))


def _apart_from(theirs: list[Array], ours: dict[str, list[Array]]) -> Measured:
    got = {name: [_difference(a, b) for a, b in zip(rows, theirs, strict=True)] for name, rows in ours.items()}
    note = ", ".join(f"{name} {max(values):.2g}" for name, values in got.items())
    return Measured([0.0] * (len(theirs) * len(ours)), [value for values in got.values() for value in values], note)


def _in_both_engines(model: RigidModel) -> dict[str, list[Array]]:
    cases = [(random_state(seed), forces_for(seed)) for seed in range(STATES)]
    return {
        name: [at_chassis(model, state, acceleration(make, model, state, out)) for state, out in cases]
        for name, make in ENGINES.items()
    }


@GROUP.check("accelerations, Pinocchio",
             f"Our tree and PyBullet, one step of a microsecond, against Pinocchio: {STATES} random states and forces",
             source="Pinocchio's articulated body algorithm on the exported file", known="other library",
             unit="relative", tolerance=absolute(1.0e-6, "speeds change by 1e-3 in the step and are known to 1e-16"),
             needs=("pinocchio",))
def accelerations_pinocchio() -> Measured:
    """Largest of the sixteen differences, for each engine."""
    model, theirs = truck("takin"), []
    with exported("takin") as file:
        other = Pinocchio(file)
    for seed in range(STATES):
        state, out = random_state(seed), forces_for(seed)
        q, v, change = other.set(state)
        back = np.linalg.inv(change)
        tau = back.T @ generalised(model, state, out)
        a = np.array(other.pin.aba(other.model, other.data, q, v, tau))
        # Its base acceleration is spatial: the classical one of the point has w x v more.
        a[:3] += np.cross(v[3:6], v[:3])
        theirs.append(back @ a)
    return _apart_from(theirs, _in_both_engines(model))


@GROUP.check("accelerations, MuJoCo",
             f"Our tree and PyBullet, one step of a microsecond, against MuJoCo: {STATES} random states and forces",
             source="MuJoCo's forward dynamics on the exported file", known="other library",
             unit="relative", tolerance=absolute(1.0e-6, "speeds change by 1e-3 in the step and are known to 1e-16"),
             needs=("mujoco",))
def accelerations_mujoco() -> Measured:
    """Largest of the sixteen differences, for each engine."""
    model, theirs = truck("takin"), []
    with exported("takin") as file:
        other = Mujoco(file)
    for seed in range(STATES):
        state, out = random_state(seed), forces_for(seed)
        change = other.set(state)
        back = np.linalg.inv(change)
        other.data.qfrc_applied[:] = back.T @ generalised(model, state, out)
        other.mj.mj_forward(other.model, other.data)
        theirs.append(back @ np.array(other.data.qacc))
    return _apart_from(theirs, _in_both_engines(model))
