"""Forward dynamics and integration against closed forms, a plain twin and the second engine."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.massprops import GRAVITY
from models.rigid import RigidModel
from models.scenario import DATA
from sim.physics.arrays import S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_SPIN, S_VEL, Motion, model_arrays
from sim.physics.dynamics import ABOVE, BODIES, C_SIZE, FREEDOMS, accelerations, mass_matrix_and_bias, solve
from sim.physics.engine_bullet import BulletEngine
from sim.physics.engine_compiled import TreeEngine
from sim.physics.kinematics import forward
from sim.physics.simulation import STEP, Simulation
from sim.physics.stepping import integrate
from sim.trial import driver, trial
from sim.trial.truck import load_truck
from sim.validation.engines import our_mass_matrix
from sim.validation.pair import one_step
from sim.validation.states import forces_for, random_state
from terrain import catalog

Array = NDArray[np.float64]
DOWN = np.array([0.0, 0.0, -GRAVITY])


@pytest.fixture(scope="module")
def model() -> RigidModel:
    return load_truck(DATA / "takin.toml").model


def matrix_and_bias(model: RigidModel, state: Array, gravity: Array = DOWN) -> tuple[Array, Array]:
    """Mass matrix (16, 16) and bias (16,) at a state whose base is the chassis frame."""
    arrays = model_arrays(model, np.zeros(3), np.eye(3))
    frames, points = np.zeros((BODIES, 3, 3)), np.zeros((3, BODIES, 6))
    matrix, bias = np.zeros((FREEDOMS, FREEDOMS)), np.zeros(FREEDOMS)
    motion = Motion(frames, *points)
    forward(state, arrays.body, arrays.drive, motion)
    work = np.zeros((BODIES, C_SIZE))
    mass_matrix_and_bias(state, arrays.body, motion, gravity, work, matrix, bias)
    lower = np.tril(matrix)
    return lower + np.tril(lower, -1).T, bias


@pytest.mark.parametrize("seed", range(4))
def test_mass_matrix_is_twice_the_kinetic_energy(model: RigidModel, seed: int) -> None:
    """The twin sums m v^2 and w J w over the bodies, from kinematics alone."""
    state = random_state(seed)
    ours, _ = matrix_and_bias(model, state)
    twin = our_mass_matrix(model, state)
    scale = np.sqrt(np.outer(np.diag(twin), np.diag(twin)))
    assert np.max(np.abs(ours - twin) / scale) < 1e-12


def test_at_rest_the_bias_is_the_weight(model: RigidModel) -> None:
    """On the base the whole weight and its moment, on a joint the moment of what it carries, and zero in free fall."""
    state = np.zeros(S_SIZE)
    state[S_QUAT + 3] = 1.0
    _, bias = matrix_and_bias(model, state)
    weight = model.mass * GRAVITY
    assert bias[:3] == pytest.approx((0.0, 0.0, weight), abs=1e-12)
    cg = model.cg()
    assert bias[3:6] == pytest.approx((cg[1] * weight, -cg[0] * weight, 0.0), abs=1e-12)
    wheel = model.bodies[4]
    about_axle = wheel.mass * GRAVITY * -wheel.p_BBcm[0]
    assert bias[6 + 3] == pytest.approx(about_axle, abs=1e-12)
    _, falling = matrix_and_bias(model, state, np.zeros(3))
    assert falling == pytest.approx(np.zeros(FREEDOMS), abs=1e-15)


@pytest.mark.parametrize("seed", range(3))
def test_velocity_forces_do_no_work_beyond_the_change_of_inertia(model: RigidModel, seed: int) -> None:
    """v . bias = v . dM/dt . v / 2 without gravity: what keeps kinetic energy (Featherstone 2008, from memory)."""
    state = random_state(seed)
    speeds = np.concatenate([state[S_VEL:S_Q], state[S_QD:]])
    _, bias = matrix_and_bias(model, state, np.zeros(3))
    moved = []
    for time in (1e-6, -1e-6):
        other = state.copy()
        other[S_POS:S_QUAT] += time * state[S_VEL:S_SPIN]
        turn = Rotation.from_rotvec(time * state[S_SPIN:S_Q]) * Rotation.from_quat(state[S_QUAT:S_VEL])
        other[S_QUAT:S_VEL] = turn.as_quat()
        other[S_Q:S_QD] += time * state[S_QD:]
        moved.append(matrix_and_bias(model, other)[0])
    rate = (moved[0] - moved[1]) / 2e-6
    assert speeds @ bias == pytest.approx(0.5 * speeds @ rate @ speeds, rel=1e-6, abs=1e-9)


def test_the_sparse_solution_is_the_dense_one(model: RigidModel) -> None:
    rng = np.random.default_rng(4)
    for seed in range(4):
        matrix, _ = matrix_and_bias(model, random_state(seed))
        force = rng.standard_normal(FREEDOMS)
        x = force.copy()
        solve(np.tril(matrix), x)
        assert matrix @ x == pytest.approx(force, rel=1e-9, abs=1e-12)


def test_every_freedom_is_carried_by_an_earlier_one() -> None:
    assert list(ABOVE[:6]) == [-1, 0, 1, 2, 3, 4]
    assert all(above < freedom for freedom, above in enumerate(ABOVE))
    assert [int(a) for a in ABOVE[6:]] == [5, 6, 7, 8, 7, 10, 5, 12, 13, 13]


def test_a_spinning_wheel_turns_the_truck_as_a_gyroscope_does(model: RigidModel) -> None:
    """With the front wheels' spin w about y and a yaw rate r, the bias about x is J w r per wheel (w x J w)."""
    state = np.zeros(S_SIZE)
    state[S_QUAT + 3] = 1.0
    state[S_SPIN + 2] = 2.0
    without = matrix_and_bias(model, state, np.zeros(3))[1]
    state[S_QD + 3] = 50.0
    spinning = matrix_and_bias(model, state, np.zeros(3))[1]
    wheel = model.bodies[4].I_BBcm
    # d/dt of J w, turning with yaw: r z x (J w y) = -J w r x, and the wheel's own products of inertia turn with it.
    torque = -wheel[1, 1] * 50.0 * 2.0
    assert spinning[3] - without[3] == pytest.approx(torque, rel=0.02)


def test_turning_is_exact_for_a_steady_spin() -> None:
    """A thousand steps at a steady angular velocity end where one rotation vector says; the quaternion stays a unit."""
    spin = np.array([3.0, -2.0, 5.0])
    state = np.zeros(S_SIZE)
    state[S_QUAT : S_QUAT + 4] = Rotation.from_rotvec([0.3, 0.1, -0.2]).as_quat()
    start = Rotation.from_quat(state[S_QUAT:S_VEL])
    state[S_SPIN:S_Q] = spin
    for _ in range(1000):
        integrate(state, np.zeros(FREEDOMS), 1e-3)
    want = (Rotation.from_rotvec(spin) * start).as_matrix()
    assert Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix() == pytest.approx(want, abs=1e-12)
    assert np.linalg.norm(state[S_QUAT:S_VEL]) == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("speed", [0.0, 1e-9, 0.19, 0.21])
def test_small_turns_lose_no_digit(speed: float) -> None:
    """On both sides of where the sine's series takes over."""
    state = np.zeros(S_SIZE)
    state[S_QUAT + 3], state[S_SPIN + 1] = 1.0, speed
    integrate(state, np.zeros(FREEDOMS), 1e-3)
    assert state[S_QUAT + 1] == pytest.approx(math.sin(0.5e-3 * speed), rel=1e-15)


@pytest.mark.parametrize("seed", range(6))
def test_one_step_is_that_of_the_second_engine(model: RigidModel, seed: int) -> None:
    state, out = random_state(seed), forces_for(seed)
    ours, theirs = (one_step(make, model, state, out, STEP)[1] for make in (TreeEngine, BulletEngine))
    assert ours == pytest.approx(theirs, abs=1e-12)


def test_an_attempt_ends_as_in_the_second_engine() -> None:
    model = load_truck(DATA / "gundi.toml").model
    ground = catalog.make(
        "ledge", 24.0, wheelbase=model.wheelbase, tyre_radius=float(model.tyres[0].row_radius.max()), seed=1
    )
    ours, theirs = (
        trial.run(model, ground, driver.named("bump"), 1, engine=make) for make in (TreeEngine, BulletEngine)
    )
    assert (ours.outcome, ours.reason, ours.time) == (theirs.outcome, theirs.reason, theirs.time)
    assert ours.min_margin == pytest.approx(theirs.min_margin, abs=1e-9)


def test_many_steps_in_one_call_are_the_same_steps(model: RigidModel) -> None:
    """Bit for bit, however the steps are dealt out."""
    ends = []
    for pieces in ((60,), (1,) * 60, (7, 53)):
        with Simulation(
            model, catalog.make("ledge", 10.0, wheelbase=model.wheelbase, tyre_radius=0.05, seed=1).ground
        ) as s:
            s.place(0.0, 0.0, 0.0)
            s.command(0.4, 0.1, False)
            for steps in pieces:
                s.advance(steps)
            state = np.zeros(S_SIZE)
            s.engine.read(state)
            ends.append(np.concatenate([state, s.bristles.ravel(), s.memory]))
    assert np.array_equal(ends[0], ends[1])
    assert np.array_equal(ends[0], ends[2])


def test_steps_with_given_forces_are_those_of_the_fused_call(model: RigidModel) -> None:
    """The seam's read, apply and step against its run."""
    ends = []
    for run in (TreeEngine.run, TreeEngine.__mro__[1].run):
        with Simulation(
            model, catalog.make("climb", 30.0, wheelbase=model.wheelbase, tyre_radius=0.05, seed=1).ground
        ) as s:
            s.place(0.0, 0.0, 0.0)
            run(s.engine, 50, s.arguments)  # type: ignore[arg-type]
            state = np.zeros(S_SIZE)
            s.engine.read(state)
            ends.append(state)
    assert np.array_equal(ends[0], ends[1])


def test_accelerations_solve_the_equation_of_motion(model: RigidModel) -> None:
    state, out = random_state(8), forces_for(8)
    matrix, bias = matrix_and_bias(model, state)
    arrays = model_arrays(model, np.zeros(3), np.eye(3))
    frames, points = np.zeros((BODIES, 3, 3)), np.zeros((3, BODIES, 6))
    motion = Motion(frames, *points)
    forward(state, arrays.body, arrays.drive, motion)
    result = np.zeros(FREEDOMS)
    work, room = np.zeros((BODIES, C_SIZE)), np.zeros((FREEDOMS, FREEDOMS))
    accelerations(state, out, arrays.body, motion, DOWN, work, room, result)
    assert matrix @ result + bias == pytest.approx(out, rel=1e-9, abs=1e-11)
