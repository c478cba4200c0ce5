"""Our truck with generic wheels, as MuJoCo reads it: same bodies, joints and inertias, springs of the same rate."""

from __future__ import annotations

import math
from xml.etree.ElementTree import SubElement, tostring

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import AXLE_BODIES, JOINT_COUNT, KNUCKLE_BODIES, WHEEL_BODIES, RigidModel
from sim.physics.simulation import STEP, Simulation
from sim.validation.mujoco_truck import MEETS, row, written
from terrain.heightfield import Heightfield

Array = NDArray[np.float64]
HARD_SHAPES = {0: (0.020, 0.018, 0.002)}
"""Half extents (m, for a 1/24) of the skid box on the chassis; axles get cylinders of their housings."""
TREAD_SPEED = 0.8
"""Wheelbases per second."""


def spring_rates(model: RigidModel, ground: Heightfield) -> tuple[Array, Array]:
    """Stiffness and damping of each joint (N m/rad or N/m; N m s/rad or N s/m) that our shocks amount to at ride
    height, by differences of the generalised forces with the truck held in the air."""
    stiffness, damping = np.zeros(JOINT_COUNT), np.zeros(JOINT_COUNT)
    with Simulation(model, ground, gravity=(0.0, 0.0, 0.0)) as simulation:
        simulation.put(np.array([0.0, 0.0, 10.0]), np.eye(3))
        for body in (1, 2, 7, 8):
            joint = body - 1
            for column, target, size in ((13, stiffness, 1e-4), (13 + JOINT_COUNT, damping, 1e-3)):
                efforts = []
                for sign in (1.0, -1.0):
                    state = simulation.state.copy()
                    state[column + joint] = sign * size
                    efforts.append(_efforts(simulation, state)[joint])
                target[joint] = -(efforts[0] - efforts[1]) / (2.0 * size)
    return stiffness, damping


def _efforts(simulation: Simulation, state: Array) -> Array:
    from sim.physics.arrays import O_TAU
    from sim.physics.kinematics import forward, generalise
    from sim.physics.shock_force import shock_forces

    a, p = simulation.arrays, simulation.points
    p[3][:] = 0.0
    simulation.out[:] = 0.0
    forward(state, a.body, a.drive, simulation.motion)
    shock_forces(a.shock, simulation.motion, p[3])
    generalise(state, a.body, simulation.motion, p[3], simulation.out)
    return simulation.out[O_TAU:].copy()


def wheel_size(model: RigidModel) -> tuple[float, float]:
    """Radius of the loaded tyre and half its width, m."""
    return float(model.origins()[WHEEL_BODIES[2], 2]), float(np.abs(model.tyres[0].row_y).max()) * 1.5


def mujoco_text(model: RigidModel, ground: Heightfield, wheel: str, rates: tuple[Array, Array]) -> str:
    """Document with wheels of a shape (``cylinder`` or ``ellipsoid``) and motors that hold their speed."""
    radius, half = wheel_size(model)
    stiffness, damping = rates
    lift = float(model.origins()[AXLE_BODIES[0]][2])
    contact = {"friction": f"{model.tyres[0].grip!r} 0.0005 0.00001", "solref": "0.004 1"}
    root, nodes = written(model, ground, STEP, contact, integrator="implicitfast", cone="elliptic", solver="Newton",
                          iterations="20", ls_iterations="10", impratio="4")
    for index, node in enumerate(nodes):
        joint = node.find("joint")
        if joint is not None:
            loose = (stiffness[index - 1], damping[index - 1])
            rate, loss = (1.0, 2e-3) if index in KNUCKLE_BODIES else loose
            joint.attrib |= {"stiffness": repr(float(rate)), "damping": repr(float(loss))}
        meets = MEETS | contact
        if index in WHEEL_BODIES:
            size = f"{radius!r} {half!r}" if wheel == "cylinder" else f"{radius!r} {radius!r} {1.4 * half!r}"
            SubElement(node, "geom", meets, type=wheel, size=size, euler=f"{math.pi / 2!r} 0 0")
        elif index in AXLE_BODIES:
            SubElement(
                node, "geom", meets, type="capsule", size=f"{0.24 * radius!r} {0.2 * float(model.track[0])!r}",
                euler=f"{math.pi / 2!r} 0 0", pos=f"0 0 {radius - lift!r}",
            )  # fmt: skip
        elif index in HARD_SHAPES:
            SubElement(
                node, "geom", meets, type="box", size=row(HARD_SHAPES[index]),
                pos=f"{0.5 * float(model.wheelbase)!r} 0 {radius!r}",
            )  # fmt: skip
    actuators = SubElement(root, "actuator")
    torque = float(model.mass * GRAVITY * radius)
    for index in WHEEL_BODIES:
        SubElement(
            actuators, "velocity", joint=model.bodies[index].name, kv="0.02", forcerange=f"{-torque!r} {torque!r}"
        )
    return tostring(root, encoding="unicode")
