"""The exported truck in other engines: mass, inertia and accelerations by general-purpose libraries.

The libraries are extras and are imported by name where they are used.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
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
from sim.validation.check import Group, Measured, Tolerance, absolute
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

    def mass(self) -> tuple[float, Array]:
        """Mass and centre of gravity, standing level."""
        level = np.zeros(S_SIZE)
        level[S_QUAT + 3] = 1.0
        self._set(level)
        return float(self.model.body_mass.sum()), np.array(self.data.subtree_com[1])

    def mass_matrix(self, state: Array) -> Array:
        """Of a state, in our speeds (16, 16)."""
        change, full = self._set(state), np.zeros((16, 16))
        try:
            self.mj.mj_fullM(self.model, self.data, full)
        except TypeError:  # before MuJoCo 4
            self.mj.mj_fullM(self.model, full, self.data.qM)
        return np.asarray(change.T @ full @ change)

    def accelerations(self, state: Array, forces: Array) -> Array:
        """Of our speeds (16,) under generalised forces."""
        back = np.linalg.inv(self._set(state))
        self.data.qfrc_applied[:] = back.T @ forces
        self.mj.mj_forward(self.model, self.data)
        return np.asarray(back @ np.array(self.data.qacc))

    def _set(self, state: Array) -> Array:
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


class Pinocchio:
    """The exported truck in Pinocchio, floating."""

    def __init__(self, file: Path) -> None:
        """Load it on a free-flyer joint."""
        self.pin: Any = import_module("pinocchio")
        self.model = self.pin.buildModelFromUrdf(str(file), self.pin.JointModelFreeFlyer())
        self.model.gravity.linear = np.array([0.0, 0.0, -GRAVITY])
        self.data = self.model.createData()
        self.ids = [self.model.getJointId(name) for name in BODY_NAMES[1:]]

    def mass(self) -> tuple[float, Array]:
        """Mass and centre of gravity, standing level."""
        centre = self.pin.centerOfMass(self.model, self.data, self.pin.neutral(self.model))
        return float(self.pin.computeTotalMass(self.model)), np.array(centre)

    def mass_matrix(self, state: Array) -> Array:
        """Of a state, in our speeds (16, 16)."""
        q, _, change = self._set(state)
        upper = np.triu(np.array(self.pin.crba(self.model, self.data, q)))
        return np.asarray(change.T @ (upper + np.triu(upper, 1).T) @ change)

    def accelerations(self, state: Array, forces: Array) -> Array:
        """Of our speeds (16,) under generalised forces."""
        q, v, change = self._set(state)
        back = np.linalg.inv(change)
        a = np.array(self.pin.aba(self.model, self.data, q, v, back.T @ forces))
        # Its base acceleration is spatial: the classical one of the point has w x v more.
        a[:3] += np.cross(v[3:6], v[:3])
        return np.asarray(back @ a)

    def _set(self, state: Array) -> tuple[Array, Array, Array]:
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


Engine = type[Mujoco] | type[Pinocchio]


def opened(engine: Engine) -> Mujoco | Pinocchio:
    """The 1/10 in another engine, by its exported file."""
    with exported("takin") as file:
        return engine(file)


def _apart(ours: Array, theirs: Array) -> float:
    """Largest difference over the size of the entries' own rows and columns."""
    scale = np.sqrt(np.outer(np.diag(ours), np.diag(ours)))
    return float(np.max(np.abs(ours - theirs) / scale))


def _mass_apart(total: float, centre: Array) -> Measured:
    """Mass, and the three coordinates over the wheelbase."""
    model = truck("takin")
    apart = np.abs(centre - model.cg()) / model.wheelbase
    return Measured([0.0] * 4, [abs(total / model.mass - 1.0), *apart.tolist()])


_DIGITS = absolute(1.0e-8, "numbers are written with all their digits")


@GROUP.check("mass and CG, yourdfpy", "The exported file's links add up to the truck's mass and centre of gravity",
             source="yourdfpy reads the file and places its links", known="other library",
             unit="relative", tolerance=_DIGITS, needs=("yourdfpy",))
def mass_yourdfpy() -> Measured:
    """Sum over the links."""
    with exported("takin") as file:
        robot = import_module("yourdfpy").URDF.load(str(file), load_meshes=False, build_scene_graph=True)
        total, moment = 0.0, np.zeros(3)
        for name, link in robot.link_map.items():
            place = robot.get_transform(name) @ link.inertial.origin
            total += link.inertial.mass
            moment += link.inertial.mass * place[:3, 3]
    return _mass_apart(total, moment / total)


def _asked(function: Callable[[Mujoco | Pinocchio], Measured], engine: Engine) -> Measured:
    return function(opened(engine))


def in_both(
    name: str, claim: str, sources: tuple[str, str], tolerance: Tolerance
) -> Callable[[Callable[[Mujoco | Pinocchio], Measured]], None]:
    """Make a check in Pinocchio and one in MuJoCo of a function of the engine; ``claim`` has a place for its name."""

    def made(function: Callable[[Mujoco | Pinocchio], Measured]) -> None:
        engines: tuple[tuple[str, Engine], ...] = (("Pinocchio", Pinocchio), ("MuJoCo", Mujoco))
        for (other, engine), source in zip(engines, sources, strict=True):
            GROUP.check(f"{name}, {other}", claim.format(other), source=source, known="other library", unit="relative",
                        tolerance=tolerance, needs=(other.lower(),))(partial(_asked, function, engine))

    return made


@in_both("mass and CG", "The exported file in {} has the truck's mass and centre of gravity",
         ("Pinocchio reads the file", "MuJoCo reads the file"), _DIGITS)
def _mass(other: Mujoco | Pinocchio) -> Measured:
    return _mass_apart(*other.mass())


@in_both("mass matrix", f"Joint-space mass matrix, {STATES} random states",
         ("Pinocchio's composite rigid body algorithm on the exported file", "MuJoCo on the exported file"),
         absolute(1.0e-8, "rounding through eleven bodies"))
def _matrix(other: Mujoco | Pinocchio) -> Measured:
    """Largest entry difference over the geometric mean of its diagonal entries."""
    states = [random_state(seed) for seed in range(STATES)]
    got = [_apart(our_mass_matrix(truck("takin"), state), other.mass_matrix(state)) for state in states]
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


@in_both("accelerations",
         f"Our tree and PyBullet, one step of a microsecond, against {{}}: {STATES} random states and forces",
         ("Pinocchio's articulated body algorithm on the exported file",
          "MuJoCo's forward dynamics on the exported file"),
         absolute(1.0e-6, "speeds change by 1e-3 in the step and are known to 1e-16"))
def _accelerations(other: Mujoco | Pinocchio) -> Measured:
    """Largest of the sixteen differences, for each of our engines."""
    model, cases = truck("takin"), [(random_state(seed), forces_for(seed)) for seed in range(STATES)]
    theirs = [other.accelerations(state, generalised(model, state, out)) for state, out in cases]
    return _apart_from(theirs, {
        name: [at_chassis(model, state, acceleration(make, model, state, out)) for state, out in cases]
        for name, make in ENGINES.items()
    })
