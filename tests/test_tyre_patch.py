"""Tread and carcass in series under a patch: closed forms, and the implicit solution against a general solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import root

from sim.physics.arrays import M_CARCASS, M_CARCASS_MOVE, M_SIZE
from sim.physics.tyre_patch import (
    P_BRISTLE,
    P_LOAD,
    P_NORMAL,
    P_ROUND,
    P_SHARE,
    P_SIZE,
    P_SPEED,
    grip_patch,
    move_carcass,
)

Array = NDArray[np.float64]
COUNT, K, CARCASS, LOSS, MU, LOAD = 9, 80.0, 100.0, 0.3, 0.5, 0.1


def flat_patch(speed: Array, load: float = LOAD) -> Array:
    """Tread elements that stand on level ground, each with this load (N), the wheel moving at ``speed`` (m/s) there."""
    patch = np.zeros((COUNT + 1, P_SIZE))
    patch[:COUNT, P_ROUND] = np.arange(COUNT)
    patch[:COUNT, P_NORMAL + 2] = 1.0
    patch[:COUNT, P_LOAD] = load
    patch[:COUNT, P_SHARE] = 1.0
    patch[:COUNT, P_SPEED : P_SPEED + 3] = speed
    return patch


def step(patch: Array, memory: Array, bristles: Array, dt: float) -> Array:
    """One step of one wheel; the patch's bristles follow."""
    move_carcass(patch, COUNT, memory, 0, dt, K, MU, CARCASS, LOSS, patch[COUNT])
    total = np.zeros(P_SIZE)
    grip_patch(patch, COUNT, memory, 0, bristles, dt, K, MU, total)
    patch[:COUNT, P_BRISTLE : P_BRISTLE + 3] = bristles[0, :COUNT, 0, :3]
    return total


def push(way: float, time: float, dt: float, load: float = LOAD) -> float:
    """Force along x after the rim moved by ``way`` (m) within ``time`` (s) and rested as long again."""
    memory, bristles = np.zeros(M_SIZE), np.zeros((4, COUNT, 2, 4))
    patch = flat_patch(np.array([way / time, 0.0, 0.0]), load)
    force = 0.0
    for _ in range(round(time / dt)):
        force = step(patch, memory, bristles, dt)[0]
    patch[:COUNT, P_SPEED : P_SPEED + 3] = 0.0
    for _ in range(round(time / dt)):
        force = step(patch, memory, bristles, dt)[0]
    return force


@pytest.mark.parametrize("dt", [1e-3, 1e-4])
def test_a_sticking_patch_is_two_springs_in_series(dt: float) -> None:
    series = 1.0 / (1.0 / (COUNT * K) + 1.0 / CARCASS)
    assert push(1e-3, 0.1, dt) == pytest.approx(-series * 1e-3, rel=1e-6)


@pytest.mark.parametrize("dt", [1e-3, 1e-4])
def test_a_sliding_patch_carries_mu_times_its_load(dt: float) -> None:
    memory, bristles = np.zeros(M_SIZE), np.zeros((4, COUNT, 2, 4))
    patch = flat_patch(np.array([0.0, -0.2, 0.0]))
    for _ in range(round(0.2 / dt)):
        total = step(patch, memory, bristles, dt)
    assert total[1] == pytest.approx(MU * COUNT * LOAD, rel=1e-9)
    assert memory[M_CARCASS + 1] == pytest.approx(MU * COUNT * LOAD / CARCASS, rel=1e-6)


def test_a_tread_element_that_comes_in_finds_the_carcass_wound_up() -> None:
    """Once the patch slides, a fresh element grips within the tread's own give, mu N / K, not that of the carcass."""
    memory, bristles, dt, speed = np.zeros(M_SIZE), np.zeros((4, COUNT, 2, 4)), 1e-3, 0.1
    patch = flat_patch(np.array([speed, 0.0, 0.0]))
    for _ in range(100):
        step(patch, memory, bristles, dt)
    patch[0, P_BRISTLE : P_BRISTLE + 3] = 0.0
    way = MU * LOAD / K
    for _ in range(math.ceil(way / (speed * dt)) + 1):
        total = step(patch, memory, bristles, dt)
    assert total[0] == pytest.approx(-MU * COUNT * LOAD, rel=1e-9)


def test_a_carcass_let_go_comes_back_by_its_own_damping() -> None:
    """In the air: d/dt b = -K b / c, implicitly: one factor 1 / (1 + K dt / c) a step."""
    memory, dt = np.zeros(M_SIZE), 1e-3
    memory[M_CARCASS] = 2e-3
    for _ in range(5):
        move_carcass(np.zeros((1, P_SIZE)), 0, memory, 0, dt, K, MU, CARCASS, LOSS, np.zeros(P_SIZE))
    assert memory[M_CARCASS] == pytest.approx(2e-3 / (1.0 + CARCASS * dt / LOSS) ** 5, rel=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_the_step_s_end_balances_as_a_general_solver_finds_it(seed: int) -> None:
    """Rough ground, some elements sticking, some sliding: scipy solves the same balance from scratch."""
    rng, dt = np.random.default_rng(seed), 1e-3
    patch = flat_patch(np.array([0.03, -0.02, 0.0]))
    normals = np.column_stack([0.4 * rng.standard_normal((COUNT, 2)), np.ones(COUNT)])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    patch[:COUNT, P_NORMAL : P_NORMAL + 3] = normals
    patch[:COUNT, P_LOAD] = rng.uniform(0.02, 0.3, COUNT)
    patch[:COUNT, P_BRISTLE : P_BRISTLE + 3] = 3e-4 * rng.standard_normal((COUNT, 3))
    memory = np.zeros(M_SIZE)
    memory[M_CARCASS : M_CARCASS + 3] = 1e-4 * rng.standard_normal(3)
    before = memory[M_CARCASS : M_CARCASS + 3].copy()

    def excess(move: Array) -> Array:
        z = patch[:COUNT, P_BRISTLE : P_BRISTLE + 3] + dt * patch[:COUNT, P_SPEED : P_SPEED + 3] + move
        z = z - np.sum(z * normals, axis=1)[:, None] * normals
        force = -K * z
        limit = MU * patch[:COUNT, P_LOAD]
        force *= np.minimum(1.0, limit / np.linalg.norm(force, axis=1))[:, None]
        return np.asarray(force.sum(axis=0) - CARCASS * (before + move) - LOSS / dt * move)

    want = root(excess, np.zeros(3), tol=1e-14).x
    left = [float(np.linalg.norm(excess(np.zeros(3))))]
    for _ in range(6):
        memory[M_CARCASS : M_CARCASS + 3] = before
        move_carcass(patch, COUNT, memory, 0, dt, K, MU, CARCASS, LOSS, patch[COUNT])
        left.append(float(np.linalg.norm(excess(memory[M_CARCASS_MOVE : M_CARCASS_MOVE + 3]))))
    # Each call is one Newton step from the motion before: the first does most, and they end where the solver does.
    assert left[1] < 0.2 * left[0]
    assert memory[M_CARCASS_MOVE : M_CARCASS_MOVE + 3] == pytest.approx(want, abs=1e-10)


@pytest.mark.parametrize("way", [2e-4, 2e-3, 2e-2])
def test_no_more_than_friction_however_it_is_pushed(way: float) -> None:
    assert abs(push(way, 0.05, 1e-3)) <= MU * COUNT * LOAD * (1.0 + 1e-12)
