"""Forward kinematics and generalised forces against a plain NumPy twin and the principle of virtual power."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from models import scenario
from models.assemble import rigid_model
from models.rigid import JOINT_COUNT, PARENTS
from models.sheet import load_sheet
from sim.physics.arrays import (
    O_FORCE,
    O_SIZE,
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
from sim.physics.engine_bullet import principal_frame
from sim.physics.kinematics import forward, generalise

MODEL = rigid_model(load_sheet(scenario.builds()[2]))
BASE_P, BASE_R = np.array(MODEL.bodies[0].p_BBcm), principal_frame(MODEL.bodies[0].I_BBcm)[1]
ARRAYS = model_arrays(MODEL, BASE_P, BASE_R)
BODIES = len(MODEL.bodies)


def random_state(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    state = np.zeros(S_SIZE)
    state[S_POS:S_QUAT] = rng.normal(size=3)
    state[S_QUAT:S_VEL] = Rotation.random(rng=rng).as_quat()
    state[S_VEL:S_Q] = rng.normal(size=6)
    state[S_Q:S_QD] = 0.4 * rng.normal(size=JOINT_COUNT)
    state[S_QD:] = rng.normal(size=JOINT_COUNT)
    return state


def run_forward(state: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    frames = np.zeros((BODIES, 3, 3))
    origin, spin, velocity = (np.zeros((BODIES, 6)) for _ in range(3))
    forward(state, ARRAYS.body, ARRAYS.drive, Motion(frames, origin, spin, velocity))
    return frames, origin[:, :3], spin[:, :3], velocity[:, :3]


def twin(state: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The same, written with matrices."""
    R_WE = Rotation.from_quat(state[S_QUAT:S_VEL]).as_matrix()
    R, p, w, v = [R_WE @ BASE_R.T], [], [state[S_SPIN : S_SPIN + 3]], []
    arm = -R[0] @ BASE_P
    p.append(state[S_POS:S_QUAT] + arm)
    v.append(state[S_VEL:S_SPIN] + np.cross(w[0], arm))
    for i in range(1, BODIES):
        body, parent = MODEL.bodies[i], PARENTS[i]
        q, qd = state[S_Q + i - 1], state[S_QD + i - 1]
        axis = R[parent] @ body.axis
        arm = R[parent] @ body.p_PJ
        if body.joint == "prismatic":
            arm = arm + q * axis
            R.append(R[parent])
            w.append(w[parent])
            v.append(v[parent] + np.cross(w[parent], arm) + qd * axis)
        else:
            R.append(R[parent] @ Rotation.from_rotvec(q * body.axis).as_matrix())
            w.append(w[parent] + qd * axis)
            v.append(v[parent] + np.cross(w[parent], arm))
        p.append(p[parent] + arm)
    return np.array(R), np.array(p), np.array(w), np.array(v)


@pytest.mark.parametrize("seed", range(5))
def test_forward_kinematics_equal_the_numpy_twin(seed: int) -> None:
    state = random_state(seed)
    for found, want in zip(run_forward(state), twin(state), strict=True):
        # Places and speeds are of order one.
        np.testing.assert_allclose(found, want, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_velocities_are_the_derivatives_of_places(seed: int) -> None:
    state, h = random_state(seed), 1e-6
    _, _, spin, velocity = run_forward(state)

    def moved(t: float) -> np.ndarray:
        other = state.copy()
        other[S_POS:S_QUAT] += t * state[S_VEL:S_SPIN]
        turn = Rotation.from_rotvec(t * state[S_SPIN:S_Q]) * Rotation.from_quat(state[S_QUAT:S_VEL])
        other[S_QUAT:S_VEL] = turn.as_quat()
        other[S_Q:S_QD] += t * state[S_QD:]
        return other

    (R0, p0, *_), (R1, p1, *_) = run_forward(moved(-h)), run_forward(moved(h))
    # Central difference: h^2 times third derivatives of order one, and rounding over h.
    np.testing.assert_allclose((p1 - p0) / (2 * h), velocity, atol=1e-8)
    for a, b, w in zip(R0, R1, spin, strict=True):
        np.testing.assert_allclose(Rotation.from_matrix(b @ a.T).as_rotvec() / (2 * h), w, atol=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_generalised_forces_have_the_power_of_the_body_wrenches(seed: int) -> None:
    # J^T f: for every motion of the tree, sum of f . v + m . w over the bodies equals out . (base twist, joint speeds).
    rng = np.random.default_rng(100 + seed)
    state = random_state(seed)
    wrench = rng.normal(size=(BODIES, 6))
    frames, origin, spin, velocity = run_forward(state)
    out = np.zeros(O_SIZE)
    generalise(state, ARRAYS.body, Motion(frames, origin, spin, velocity), wrench.copy(), out)
    for k in range(6 + JOINT_COUNT):
        motion = state.copy()
        motion[S_VEL:S_Q] = 0.0
        motion[S_QD:] = 0.0
        unit = np.zeros(6 + JOINT_COUNT)
        unit[k] = 1.0
        motion[S_VEL:S_Q], motion[S_QD:] = unit[:6], unit[6:]
        _, _, spin, velocity = run_forward(motion)
        power = float(np.sum(wrench[:, :3] * velocity) + np.sum(wrench[:, 3:] * spin))
        given = np.concatenate([out[O_FORCE:O_TORQUE], out[O_TORQUE:O_TAU], out[O_TAU:]])
        assert given[k] == pytest.approx(power, abs=1e-12)


def test_wrenches_are_moved_to_the_base_point_unchanged_in_sum() -> None:
    state = random_state(9)
    frames, origin, spin, velocity = run_forward(state)
    wrench = np.random.default_rng(2).normal(size=(BODIES, 6))
    out = np.zeros(O_SIZE)
    generalise(state, ARRAYS.body, Motion(frames, origin, spin, velocity), wrench.copy(), out)
    np.testing.assert_allclose(out[O_FORCE:O_TORQUE], wrench[:, :3].sum(axis=0), atol=1e-12)
    moment = wrench[:, 3:].sum(axis=0) + np.cross(origin - state[S_POS:S_QUAT], wrench[:, :3]).sum(axis=0)
    np.testing.assert_allclose(out[O_TORQUE:O_TAU], moment, atol=1e-12)
