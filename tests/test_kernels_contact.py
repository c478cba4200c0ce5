"""Tyre law, friction cone and whole tyres on a plane against closed forms and a NumPy twin."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.assemble import rigid_model
from models.sheet import load_sheet
from models.tyre import rows_load, tabulated
from sim.physics.arrays import (
    M_PRESSURE,
    M_SIZE,
    T_EXPONENT,
    T_GRIP,
    T_PRESSURE,
    T_SIZE,
    U_DT,
    U_GRIP,
    U_SIZE,
    W_NORMAL,
    W_SIZE,
    Motion,
    model_arrays,
)
from sim.physics.ground_sampling import ground_arrays
from sim.physics.tip_friction import grip_tip
from sim.physics.tyre_force import tyre_forces
from sim.physics.tyre_grip import PRESSURE_SPAN, wheel_grip
from sim.physics.tyre_patch import tread_arrays
from sim.physics.tyre_pressure import STRIDE
from terrain.heightfield import Heightfield

MODEL = rigid_model(load_sheet(scenario.builds()[0]))
number = st.floats(-1.0, 1.0)


def unit(x: float, y: float) -> np.ndarray:
    n = np.array([x, y, 1.0])
    return n / np.linalg.norm(n)


@given(number, number, st.lists(number, min_size=9, max_size=9), st.floats(0.05, 2.0))
def test_friction_stays_inside_the_cone(nx: float, ny: float, rest: list[float], mu: float) -> None:
    n = unit(nx, ny)
    f, v, z = np.array(rest[:3]), 0.1 * np.array(rest[3:6]), 1e-3 * np.array(rest[6:])
    out, normal, left = grip_tip(tuple(z), tuple(f), tuple(n), tuple(v), 1e-3, 500.0, 1.0, mu)
    total = np.array(out)
    if f @ n <= 0.0:
        assert not total.any()
        assert (normal, *left) == (0.0, 0.0, 0.0, 0.0)
        return
    assert normal == pytest.approx(float(f @ n), abs=1e-12)
    along = total - (total @ n) * n
    assert float(total @ n) == pytest.approx(normal, abs=1e-12)
    assert float(np.linalg.norm(along)) <= mu * normal * (1.0 + 1e-12) + 1e-15
    assert abs(np.array(left) @ n) < 1e-9  # the bristle lies in the ground's plane


def flat_tip(z: tuple, f: tuple, v: tuple, dt: float, k: float, c: float, mu: float) -> tuple[float, ...]:
    """Force, its normal part and the bristle of a tip on level ground, in a row."""
    force, normal, bristle = grip_tip(z, f, (0.0, 0.0, 1.0), v, dt, k, c, mu)
    return (*force, normal, *bristle)


def test_a_sticking_tip_is_a_spring_and_a_damper() -> None:
    k, c, dt = 400.0, 0.5, 1e-3
    out = flat_tip((1e-4, 0.0, 0.0), (0.0, 0.0, 2.0), (0.01, -0.02, 0.0), dt, k, c, 1.0)
    assert out[0] == pytest.approx(-k * (1e-4 + 0.01 * dt) - c * 0.01, rel=1e-12)
    assert out[1] == pytest.approx(k * 0.02 * dt + c * 0.02, rel=1e-12)
    assert out[2] == 2.0


def test_a_sliding_tip_carries_mu_n_against_its_motion_and_forgets_what_it_cannot_hold() -> None:
    out = flat_tip((0.0, 0.0, 0.0), (0.0, 0.0, 3.0), (1.0, 1.0, 0.0), 1e-2, 1e4, 0.0, 0.7)
    assert math.hypot(out[0], out[1]) == pytest.approx(0.7 * 3.0, rel=1e-12)
    assert out[0] == pytest.approx(-0.7 * 3.0 / math.sqrt(2.0), rel=1e-12)
    # Deflection that would give exactly the limit: 0.7 * 3 / 1e4.
    assert math.hypot(out[4], out[5]) == pytest.approx(2.1e-4, rel=1e-12)


def test_while_it_slides_the_spring_holds_what_the_damper_does_not() -> None:
    k, c, mu = 400.0, 5.0, 0.5
    out = flat_tip((-0.01, 0.0, 0.0), (0.0, 0.0, 4.0), (-0.2, 0.0, 0.0), 1e-3, k, c, mu)
    assert out[0] == pytest.approx(mu * 4.0, rel=1e-12)
    assert -k * out[4] - c * -0.2 == pytest.approx(mu * 4.0, rel=1e-12)
    # A damper that alone exceeds the limit leaves nothing to the spring, and never turns it round.
    out = flat_tip((-0.01, 0.0, 0.0), (0.0, 0.0, 4.0), (-0.9, 0.0, 0.0), 1e-3, k, c, mu)
    assert out[0] == pytest.approx(mu * 4.0, rel=1e-12)
    assert out[4] == 0.0


@pytest.mark.parametrize("dt", [1e-3, 1e-4, 1e-5])
def test_friction_under_a_growing_load_does_not_depend_on_the_step(dt: float) -> None:
    """Load rises faster than a bristle can wind up: friction is k times the way, plus the damper, at any step."""
    k, c, speed, growth = 20.0, 0.02, 0.1, 400.0
    z = 0.0
    for step in range(round(0.01 / dt)):
        out = flat_tip((z, 0.0, 0.0), (0.0, 0.0, growth * (step + 1) * dt), (speed, 0.0, 0.0), dt, k, c, 0.5)
        z = out[4]
    assert out[0] == pytest.approx(-(k * speed * 0.01 + c * speed), rel=0.02)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0, 1e-3, 1e3])
def test_grip_falls_with_pressure_by_the_power_law_within_its_span(ratio: float) -> None:
    tyre = np.zeros((4, T_SIZE))
    tyre[:, T_GRIP], tyre[:, T_PRESSURE], tyre[:, T_EXPONENT] = 1.1, 5000.0, 1.0 / 9.0
    memory = np.zeros(M_SIZE)
    memory[M_PRESSURE : M_PRESSURE + 4] = 5000.0 * ratio
    want = 1.1 * 0.9 * float(np.clip(ratio ** (-1.0 / 9.0), 1.0 / PRESSURE_SPAN, PRESSURE_SPAN))
    assert wheel_grip(tyre, memory, 2, 0.9) == pytest.approx(want, rel=1e-12)
    # Twice the load: factor 0.9259 (Archard's two-scale exponent, from memory).
    if ratio == 2.0:
        assert wheel_grip(tyre, memory, 2, 0.9) / (1.1 * 0.9) == pytest.approx(0.9259, abs=5e-5)


def ground_forces(height: float, turn: float, mu: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """(wheels, wrench) of four wheels at rest at this axle height over a plane, turned by an angle."""
    model = replace(MODEL, tyres=tuple(replace(t, grip=mu, grip_exponent=0.0) for t in MODEL.tyres))  # type: ignore[arg-type]
    a = model_arrays(model, np.zeros(3), np.eye(3))
    ground = ground_arrays(Heightfield.of(np.zeros((9, 9)), (-0.2, -0.2), 0.05))
    controls = np.zeros(U_SIZE)
    controls[U_DT], controls[U_GRIP] = 1e-3, 1.0
    c, s = math.cos(turn), math.sin(turn)
    rotation = np.tile(np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]), (len(MODEL.bodies), 1, 1))
    origin, spin, velocity, wrench = (np.zeros((len(MODEL.bodies), 6)) for _ in range(4))
    origin[:, 2] = height
    wheels = np.zeros((4, W_SIZE))
    tyre_forces(
        controls, np.zeros(M_SIZE), a.tyre, a.pressure, *tread_arrays(MODEL.tyres[0]), ground,
        Motion(rotation, origin, spin, velocity), wrench, wheels,
    )  # fmt: skip
    return wheels, wrench


@pytest.mark.parametrize("turn", [0.0, 0.013, 0.4, 2.0])
@pytest.mark.parametrize("share", [0.06, 0.1, 0.15])
def test_a_tyre_at_rest_on_a_plane_carries_what_its_table_says(share: float, turn: float) -> None:
    """The field's integral is the quadrature that the squish table is fitted with, and turning changes nothing."""
    tyre = MODEL.tyres[0]
    height = float(tyre.row_radius.max()) * (1.0 - share)
    wheels, wrench = ground_forces(height, turn)
    want = rows_load(tyre.row_radius, tyre.n_round, tabulated(tyre.law_step, tyre.law_force), height)
    # A midpoint rule with steps h over a parabola of length 2 sqrt(2 R d), whose slope ends abruptly: h^2 / (8 R d) at
    # most; half a percent for the crown, three rows against a smooth one.
    assert wheels[0, W_NORMAL] == pytest.approx(want, rel=STRIDE**2 / (8.0 * share) + 0.005)
    assert wheels[0, W_NORMAL] == ground_forces(height, 0.0)[0][0, W_NORMAL]
    # Level ground pushes straight up, and a field round about the axle has no moment about it.
    assert abs(wrench[4, 0]) < 1e-15
    assert abs(wrench[4, 4]) < 1e-15


def test_a_tyre_on_ice_gets_vertical_force_only() -> None:
    wheels, wrench = ground_forces(float(MODEL.tyres[0].row_radius.max()) - 2e-3, 0.02, mu=1e-12)
    assert wheels[0, W_NORMAL] > 0.1
    assert abs(wrench[4, 0]) < 1e-9


def test_a_lifted_tyre_feels_nothing() -> None:
    wheels, wrench = ground_forces(float(MODEL.tyres[0].row_radius.max()) + 1e-6, 0.3)
    assert not wheels[:, W_NORMAL].any()
    assert not wrench.any()
