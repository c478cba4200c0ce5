"""Another contact model under the same truck: MuJoCo's soft constraints in place of our tyres and hard parts.

Masses, inertias, joints, motor, gears, servo and shocks are ours, and so are luck, driver, referee and ground; all
that the ground does is MuJoCo's: its collisions, its convex solver of contacts, its friction. A tyre is a pair of stiff
discs under a soft layer as thick as ``LAYER``: MuJoCo makes a contact for every triangle of ground within the layer and
presses it back like a damped spring. How stiff each is comes from the tyre's squish table.

The layer is there because deep overlap does not work: a tyre sinks by more than a triangle is wide, and MuJoCo then
pushes it out of the triangle sideways. With the layer bodies stay apart, and the nearest point is always above ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from importlib import import_module
from typing import Any
from xml.etree.ElementTree import SubElement, tostring

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.rigid import JOINT_COUNT, WHEEL_BODIES, RigidModel
from models.tyre import plate_table
from sim.physics.arrays import (
    HULL_DAMPING_TIME,
    M_HULL_LOAD,
    M_HULL_LOAD_AXLE,
    M_TIME,
    O_FORCE,
    O_TAU,
    O_TORQUE,
    S_POS,
    S_Q,
    S_QD,
    S_QUAT,
    S_SPIN,
    S_VEL,
    U_DT,
    U_GRIP,
    W_NORMAL,
    W_PX,
    W_TOUCH,
    ModelArrays,
)
from sim.physics.drive_force import drive_forces, steer_forces
from sim.physics.engine import Engine
from sim.physics.forces import ForceArguments
from sim.physics.kinematics import forward, generalise
from sim.physics.shock_force import shock_forces
from sim.physics.simulation import EngineMaker
from sim.physics.tyre_force import lowest_point
from sim.validation.mujoco_truck import MEETS, heights, row, written
from sim.validation.truck import sheet
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
LAYER = 0.3
"""Thickness of the soft layer in tyre radii: more than a tyre sinks on what it drives over."""
DISCS = (-0.25, 0.25)
"""Where the discs stand across the tread, in widths."""
DISC = 5.0e-4
"""m; half width of a disc."""
DECAY = 300.0
"""1/s; rate at which MuJoCo lets the speed of a contact die away, along the ground too: below that of a step."""
TILE = 4
"""Cells along the way of each height field: MuJoCo keeps at most 50 contacts of two shapes, and drops the rest."""
STICTION = 100.0
"""MuJoCo's ratio of friction's impedance to the normal one: how little a tyre that grips creeps."""
FEELER = 5.0e-4
"""m; radius of a hard part's feeler."""


class SoftContact(Engine):
    """One truck in MuJoCo; its base frame is the chassis frame."""

    def __init__(
        self, ground: Heightfield, tyre_n_per_m: float, model: RigidModel, step: float,
        gravity: tuple[float, float, float],
    ) -> None:  # fmt: skip
        """Build it.

        :param ground: What it drives on.
        :param tyre_n_per_m: Stiffness of one contact of a tyre, from :func:`contact_stiffness`.
        """
        self.base_p, self.base_rotation = np.zeros(3), np.eye(3)
        self._model, self._mj = model, import_module("mujoco")
        self.world = self._mj.MjModel.from_xml_string(_text(model, ground, step))
        self.world.hfield_data[:] = heights(ground, TILE)
        self.world.opt.gravity[:] = gravity
        self.data = self._mj.MjData(self.world)
        self._wheel_of = np.full(self.world.ngeom, -1)
        self._feeler_of = np.full(self.world.ngeom, -1)
        self._soften(tyre_n_per_m)
        self._grips = self.world.geom_friction.copy()

    def _soften(self, tyre_n_per_m: float) -> None:
        """Give every contact its spring and damper."""
        hull = self._model.hull
        for geom in range(self.world.ngeom):
            kind, _, number = self.world.geom(geom).name.partition(" ")
            if kind == "ground":
                continue
            index = int(number)
            if kind == "tyre":
                self._wheel_of[geom] = index // len(DISCS)
                ring = self._model.tyres[index // len(DISCS)]
                stiffness, time, grip = tyre_n_per_m, ring.damping_time, ring.grip
            else:
                self._feeler_of[geom] = index
                stiffness, time, grip = float(hull.stiffness[index]), HULL_DAMPING_TIME, float(hull.grip[index])
            # MuJoCo: force = mass (stiff depth + DECAY speed - acceleration), the mass from the share and the body's.
            mass = stiffness * time / DECAY
            share = mass * float(self.world.body_invweight0[self.world.geom_bodyid[geom], 0])
            share /= 1.0 + share
            self.world.geom_solimp[geom] = (share, share, 1.0e-3, 0.5, 2.0)
            self.world.geom_solref[geom] = (-stiffness / mass * share, -DECAY * share)
            self.world.geom_friction[geom, 0] = grip

    @property
    def inside(self) -> None:
        """Every step is asked for."""
        return

    def reset(self, state: Array) -> None:
        """Put the truck into a state; forces are forgotten."""
        self._mj.mj_resetData(self.world, self.data)
        x, y, z, w = state[S_QUAT:S_VEL]
        turn = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
        self.data.qpos[:] = (*state[S_POS:S_QUAT], w, x, y, z, *state[S_Q:S_QD])
        self.data.qvel[:] = (*state[S_VEL:S_SPIN], *(turn.T @ state[S_SPIN:S_Q]), *state[S_QD:])

    def set_gravity(self, gravity: tuple[float, float, float]) -> None:
        """Change gravity (world frame, m/s^2)."""
        self.world.opt.gravity[:] = gravity

    def read(self, state: Array) -> None:
        """Write the present state into a row."""
        q, v = self.data.qpos, self.data.qvel
        state[S_POS:S_QUAT] = q[:3]
        state[S_QUAT:S_VEL] = q[4], q[5], q[6], q[3]
        state[S_VEL:S_SPIN] = v[:3]
        state[S_SPIN:S_Q] = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix() @ v[3:6]
        state[S_Q:S_QD] = q[7:]
        state[S_QD:] = v[6:]

    def apply(self, out: Array) -> None:
        """Hand over a base wrench (world, at the base frame's origin) and joint efforts for one step."""
        turn = Rotation.from_quat(np.roll(self.data.qpos[3:7], -1)).as_matrix()
        self.data.qfrc_applied[:] = (*out[O_FORCE:O_TORQUE], *(turn.T @ out[O_TORQUE:O_TAU]), *out[O_TAU:])

    def step(self) -> None:
        """Move on by one time step."""
        self._mj.mj_step(self.world, self.data)

    def run(self, steps: int, arguments: ForceArguments) -> None:
        """Move on by a number of steps: shocks, motor and servo by our elements, the ground by MuJoCo."""
        state, controls, memory, out, model, bristles, _, _, hull, _, motion, wrench, wheels = arguments
        del bristles
        self.world.geom_friction[:, 0] = self._grips[:, 0] * controls[U_GRIP]
        for _ in range(steps):
            self.read(state)
            _own_forces(state, controls, memory, out, model, motion, wrench)
            self.apply(out)
            self.step()
        self._tell(model, memory, hull, motion, wheels)

    def _tell(self, model: ModelArrays, memory: Array, hull: Array, motion: Any, wheels: Array) -> None:
        """Write down what driver and referee see of the contacts of the last step."""
        contacts = self.data.contact
        first = contacts.efc_address
        loads = np.where(first >= 0, self.data.efc_force[first], 0.0) if len(first) else np.zeros(0)
        mine = contacts.geom.max(axis=1) if len(first) else np.zeros(0, dtype=int)
        wheel_of, feeler_of = self._wheel_of[mine], self._feeler_of[mine]
        for wheel, body in enumerate(WHEEL_BODIES):
            here = wheel_of == wheel
            load = float(loads[here].sum())
            wheels[wheel, W_NORMAL], wheels[wheel, W_TOUCH] = load, float(here.sum())
            if load > 0.0:
                wheels[wheel, W_PX : W_PX + 3] = loads[here] @ contacts.pos[here] / load
            else:
                axle = motion.rotation[body][:, 1]
                radius = float(self._model.tyres[wheel].row_radius.max())
                wheels[wheel, W_PX : W_PX + 3] = lowest_point(tuple(motion.origin[body, :3]), tuple(axle), radius)
        felt = np.bincount(feeler_of[feeler_of >= 0], loads[feeler_of >= 0], len(hull))
        hull[:, 3] = np.where(felt > 0.0, 1.0 + felt, 0.0)
        chassis = np.asarray(model.hull.body) == 0
        memory[M_HULL_LOAD], memory[M_HULL_LOAD_AXLE] = felt[chassis].sum(), felt[~chassis].sum()

    def close(self) -> None:
        """Nothing to give back."""


def _own_forces(
    state: Array, controls: Array, memory: Array, out: Array, model: ModelArrays, motion: Any, wrench: Array
) -> None:
    """As :func:`sim.physics.forces.step_forces`, without the ground."""
    out[:] = 0.0
    wrench[:, :] = 0.0
    forward(state, model.body, model.drive, motion)
    shock_forces(model.shock, motion, wrench)
    drive_forces(state, controls, memory, model.drive, motion.rotation, wrench, out)
    steer_forces(state, controls, memory, model.drive, out)
    generalise(state, model.body, motion, wrench, out)
    memory[M_TIME] += controls[U_DT]


def _text(model: RigidModel, ground: Heightfield, step: float) -> str:
    root, nodes = written(model, ground, step, {}, TILE, cone="elliptic", impratio=repr(STICTION), integrator="Euler")
    for wheel, body in enumerate(WHEEL_BODIES):
        ring = model.tyres[wheel]
        radius = float(ring.row_radius.max())
        for k, share in enumerate(DISCS):
            SubElement(nodes[body], "geom", MEETS, name=f"tyre {len(DISCS) * wheel + k}", type="cylinder", priority="1",
                       size=f"{(1.0 - LAYER) * radius!r} {DISC!r}", margin=repr(LAYER * radius),
                       pos=f"0 {share * ring.width!r} 0", euler=f"{0.5 * math.pi!r} 0 0")
    hull = model.hull
    for k, body in enumerate(hull.body):
        tip = hull.p_tip[k] - FEELER * (hull.p_tip[k] - hull.p_root[k]) / np.linalg.norm(hull.p_tip[k] - hull.p_root[k])
        SubElement(nodes[body], "geom", MEETS, name=f"feeler {k}", type="capsule", priority="1", size=repr(FEELER),
                   fromto=f"{row(hull.p_root[k])} {row(tip)}")
    return tostring(root, encoding="unicode")


def pressed(model: RigidModel, spacing: float, sinks: Sequence[float], places: int = 8) -> Array:
    """(sinks,) sum over the contacts of the front left tyre of depth times the normal's rise, m, pressed on a flat.

    Times the stiffness of one contact it is the load. Mean over places within a cell.
    """
    flat = Heightfield.of(np.zeros((80, 80)), (-40.0 * spacing, -40.0 * spacing), spacing)
    engine = SoftContact(flat, 1.0, model, 1.0e-3, (0.0, 0.0, 0.0))
    wheel = engine.world.body(model.bodies[WHEEL_BODIES[0]].name).id
    at = model.origins()[WHEEL_BODIES[0]]
    found = np.zeros(len(sinks))
    for i, sink in enumerate(sinks):
        for k in range(places):
            shift = spacing * np.array([(k + 0.5) / places, (3 * k % places + 0.5) / places])
            engine.data.qpos[:3] = (*(shift - at[:2]), model.tyres[0].row_radius.max() - sink - at[2])
            engine.data.qpos[3:] = (1.0, 0.0, 0.0, 0.0, *np.zeros(JOINT_COUNT))
            engine._mj.mj_forward(engine.world, engine.data)
            contacts = engine.data.contact
            mine = engine.world.geom_bodyid[contacts.geom.max(axis=1)] == wheel
            layer = LAYER * float(model.tyres[0].row_radius.max())
            found[i] += float(((layer - contacts.dist) * np.abs(contacts.frame[:, 2]))[mine].sum()) / places
    return found


def contact_stiffness(name: str, model: RigidModel, spacing: float) -> tuple[float, float]:
    """N/m of one contact that fits a truck's squish table best, and the largest relative misfit."""
    sinks, loads = plate_table(sheet(name).tyres.front)
    unit = pressed(model, spacing, sinks.tolist()) / loads
    stiffness = float(unit.sum() / (unit @ unit))
    return stiffness, float(np.abs(stiffness * unit - 1.0).max())


def on(ground: Heightfield, tyre_n_per_m: float) -> EngineMaker:
    """An engine for :func:`sim.trial.trial.run` on this ground."""
    return partial(SoftContact, ground, tyre_n_per_m)
