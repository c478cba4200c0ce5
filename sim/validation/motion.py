"""Motion without drive: rolling down, spinning freely, bouncing on tyres and on shocks."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from sim.physics.arrays import M_MOTOR_SPEED, S_POS, S_Q, S_QD, S_SPIN, T_DAMP
from sim.physics.kinematics import forward
from sim.physics.simulation import STEP, Simulation
from sim.trial.tilt_table import cg_place, flat, gravity_towards
from sim.validation.check import Group, Measured, absolute, between, relative
from sim.validation.truck import FINE, names, rigid, truck, without_hull

GROUP = Group("motion", "Rolling, spinning and bouncing")
Array = NDArray[np.float64]
SLOPE = math.radians(5.0)


def freewheeling(model: RigidModel) -> RigidModel:
    """Return the truck with no losses in motor and gears, and no current."""
    lossless = replace(model.drive, drag_brake=0.0, no_load_current=0.0, efficiency=1.0, resistance=1.0e9)
    return replace(model, drive=lossless)


def refresh(simulation: Simulation) -> None:
    """Bring the bodies' places and speeds up to the engine's present state."""
    simulation.engine.read(simulation.state)
    a = simulation.arrays
    forward(simulation.state, a.body, a.drive, simulation.motion)


def momenta(simulation: Simulation) -> tuple[float, Array, Array]:
    """Kinetic energy (J, with the rotor), linear momentum (3,) and angular momentum about the CG (3,)."""
    refresh(simulation)
    bodies, points = simulation.model.bodies, simulation.points
    centre = cg_place(simulation)
    energy = 0.5 * simulation.model.drive.rotor_inertia * float(simulation.memory[M_MOTOR_SPEED]) ** 2
    linear, angular = np.zeros(3), np.zeros(3)
    for i, body in enumerate(bodies):
        turn, spin = simulation.frames[i], points[1, i, :3]
        arm = turn @ body.p_BBcm
        velocity = points[2, i, :3] + np.cross(spin, arm)
        inertia = turn @ body.I_BBcm @ turn.T
        energy += 0.5 * body.mass * float(velocity @ velocity) + 0.5 * float(spin @ inertia @ spin)
        linear += body.mass * velocity
        angular += inertia @ spin + body.mass * np.cross(points[0, i, :3] + arm - centre, velocity)
    return energy, linear, angular


def rolling_inertia(model: RigidModel) -> float:
    """Effective over real mass of a truck that rolls with its motor: wheels and geared rotor count."""
    radius = float(model.origins()[WHEEL_BODIES[2], 2])
    wheels = sum(float(model.bodies[i].I_BBcm[1, 1]) for i in WHEEL_BODIES)
    rotor = model.drive.rotor_inertia * model.drive.rear_reduction**2
    return 1.0 + (wheels + rotor) / radius**2 / model.mass


def roll_down(model: RigidModel, step: float, time: float = 1.5, *, damped: bool = True) -> tuple[float, float]:
    """Let the truck roll down 5 deg from rest: distance (m) and kept share of the energy."""
    with Simulation(model, flat(8.0), step=step) as simulation:
        simulation.place(-6.0, 0.0, 0.0)
        simulation.command(0.0, 0.0, True)
        simulation.advance(round(0.5 / step))
        if not damped:
            simulation.arrays.tyre[:, T_DAMP] *= 1.0e-3
        start = cg_place(simulation)[0]
        simulation.set_gravity(gravity_towards(SLOPE, "front"))
        simulation.command(0.0, 0.0, False)
        simulation.advance(round(time / step))
        energy, _, _ = momenta(simulation)
        distance = float(cg_place(simulation)[0] - start)
    return distance, energy / (model.mass * GRAVITY * math.sin(SLOPE) * distance)


@GROUP.check(
    "roll-down, time",
    "A rigid truck on undamped hard discs rolls down 5 deg with a = g sin / (1 + k), k from wheels and geared rotor",
    source="rolling bodies: g sin / (1 + k), a cylinder 2/3 g sin", known="derived here",
    unit="m", tolerance=relative(0.01, "hard discs still give 0.1 mm"), slow=True,
)
def roll_down_time() -> Measured:
    """Distance after 1.5 s."""
    want, got = [], []
    for name in names():
        model = freewheeling(truck(name))
        distance, _ = roll_down(rigid(model), FINE, damped=False)
        want.append(0.5 * GRAVITY * math.sin(SLOPE) / rolling_inertia(model) * 1.5**2)
        got.append(distance)
    return Measured(want, got)


@GROUP.check(
    "roll-down, energy", "A rigid truck on undamped hard discs keeps its energy rolling down, and gains none",
    source="conservation of energy", known="derived here",
    unit="share",
    tolerance=between("integrating the discs' contact costs up to a percent; above 1 would be energy from nowhere"),
    slow=True,
)
def roll_down_energy() -> Measured:
    """Kinetic (bodies and rotor) over potential energy."""
    kept = [roll_down(rigid(freewheeling(truck(name))), FINE, damped=False)[1] for name in names()]
    return Measured((0.99, 1.0005), kept)


@GROUP.check("roll-down, step", "The real truck rolls as far in 1.5 s at a step of 1 ms as at 0.25 ms",
             source="convergence in the time step", known="derived here",
             unit="m", tolerance=relative(0.02, "first-order integration"), slow=True)
def roll_down_step() -> Measured:
    """Soft tyres; their rolling resistance is reported."""
    want, got, drag = [], [], []
    for name in names():
        model = without_hull(freewheeling(truck(name)))
        want.append(roll_down(model, STEP / 4.0)[0])
        distance, kept = roll_down(model, STEP)
        got.append(distance)
        drag.append(f"{name} {math.tan(SLOPE) * (1.0 - kept):.3f}")
    return Measured(want, got, f"rolling resistance coefficient at up to 0.8 m/s: {', '.join(drag)}")


def _thrown(step: float, time: float) -> tuple[Array, Array, Array, Array]:
    """Linear and angular momentum before and after a truck tumbled freely, all its joints moving."""
    model = truck("takin")
    with Simulation(model, flat(), step=step, gravity=(0.0, 0.0, 0.0)) as simulation:
        simulation.place(0.0, 0.0, 0.0)
        simulation.state[S_POS + 2] += 5.0
        simulation.state[S_SPIN : S_SPIN + 3] = (3.0, -2.0, 4.0)
        simulation.state[S_QD : S_QD + 10] = (1.0, -2.0, 0.5, 8.0, -0.5, 6.0, -1.0, 2.0, 9.0, 7.0)
        simulation.state[S_Q + 2] = 0.2
        simulation.engine.reset(simulation.state)
        _, p0, l0 = momenta(simulation)
        simulation.advance(round(time / step))
        _, p1, l1 = momenta(simulation)
    return p0, p1, l0, l1


@GROUP.check(
    "free tumbling",
    "A truck thrown without gravity, all joints moving, springs and drive at work, keeps its angular momentum for 2 s",
    source="conservation of angular momentum", known="derived here",
    unit="share lost", tolerance=absolute(0.01, "first-order engine: the loss halves with the step, see the note"),
)
def free_tumbling() -> Measured:
    """Magnitude of the change over the magnitude."""
    lost = {}
    for step in (STEP, STEP / 2.0):
        p0, p1, l0, l1 = _thrown(step, 2.0)
        lost[step] = float(np.linalg.norm(l1 - l0) / np.linalg.norm(l0))
        shift = float(np.linalg.norm(p1 - p0) / max(float(np.linalg.norm(p0)), 1e-9))
    note = f"at half the step {lost[STEP / 2.0]:.2g}; linear momentum changes by {shift:.1g}"
    return Measured((0.0,), (lost[STEP],), note)
