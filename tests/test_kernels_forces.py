"""Shocks, motor, gears, servo and tip-over margin against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.assemble import rigid_model
from models.sheet import load_sheet
from sim.physics.arrays import (
    M_MOTOR_SPEED,
    M_SERVO,
    M_SERVO_LOAD,
    M_SHAFT,
    M_SIZE,
    O_SIZE,
    O_TAU,
    S_Q,
    S_QD,
    S_SIZE,
    U_DT,
    U_DUTY,
    U_SIZE,
    U_STEER,
    U_VOLTAGE,
    Motion,
    Shocks,
    model_arrays,
)
from sim.physics.drive_force import SERVO_BAND, drive_forces, motor_current, rub, shaft_pair, steer_forces, wheel_angles
from sim.physics.margin import edge_angle, tip_over_margin
from sim.physics.shock_force import shock_force, shock_forces

MODEL = rigid_model(load_sheet(scenario.builds()[1]))
ARRAYS = model_arrays(MODEL, np.zeros(3), np.eye(3))
BODIES = len(MODEL.bodies)


def one_shock() -> Shocks:
    constants = (0.08, 1.5, 200.0, 4.0, 0.01, 0.006, 6000.0)
    return Shocks(np.array([2]), np.zeros((1, 3)), np.zeros((1, 3)), *np.array(constants)[:, None])


@pytest.mark.parametrize(
    ("shortening", "speed", "want"),
    [
        (0.0, 0.0, 1.5),
        (0.004, 0.0, 1.5 + 0.8),
        (0.004, 0.1, 1.5 + 0.8 - 0.4),  # lengthening: the damper pulls
        (-0.005, 0.0, 0.5),
        (-0.0055, 0.0, 0.4),
        (0.012, 0.0, 1.5 + 2.4 + 12.0),  # 2 mm into the bump stop
        (-0.008, 0.0, 0.0 - 12.0),  # the spring has run out, the droop stop pulls
    ],
)
def test_shock_pushes_by_its_spring_and_stops(shortening: float, speed: float, want: float) -> None:
    assert shock_force(one_shock(), 0, 0.08 - shortening, speed) == pytest.approx(want, abs=1e-12)


def test_shocks_at_ride_height_carry_what_was_worked_out_and_sum_to_nothing() -> None:
    rotation = np.tile(np.eye(3), (BODIES, 1, 1))
    origin, spin, velocity, wrench = (np.zeros((BODIES, 6)) for _ in range(4))
    origin[:, :3] = MODEL.origins()
    shock_forces(ARRAYS.shock, Motion(rotation, origin, spin, velocity), wrench)
    np.testing.assert_allclose(wrench[:, :3].sum(axis=0), 0.0, atol=1e-12)
    moment = wrench[:, 3:].sum(axis=0) + np.cross(origin[:, :3], wrench[:, :3]).sum(axis=0)
    np.testing.assert_allclose(moment, 0.0, atol=1e-12)
    shock = MODEL.shocks[0]
    line = (shock.p_chassis - (MODEL.origins()[2] + shock.p_axle)) / shock.ride_length
    # Left and right shock push the front axle down along their lines; sideways they cancel.
    assert wrench[2, 2] == pytest.approx(-2.0 * shock.ride_force * line[2], rel=1e-9)
    assert wrench[2, 1] == pytest.approx(0.0, abs=1e-12)


def test_motor_current_is_ohms_law_with_back_emf_limit_and_drag() -> None:
    kt, ohm = 0.004, 0.5
    assert motor_current(1.0, 0.0, 8.0, kt, ohm, 100.0, 1.0) == pytest.approx(16.0)
    assert motor_current(1.0, 0.0, 8.0, kt, ohm, 10.0, 1.0) == 10.0
    assert motor_current(0.5, 500.0, 8.0, kt, ohm, 100.0, 1.0) == pytest.approx((4.0 - 2.0) / 0.5)
    assert motor_current(0.0, 500.0, 8.0, kt, ohm, 100.0, 0.4) == pytest.approx(-0.4 * 2.0 / 0.5)
    assert motor_current(0.0, 500.0, 8.0, kt, ohm, 100.0, 0.0) == 0.0


@given(st.floats(-100.0, 100.0), st.floats(0.0, 1.0))
def test_rubbing_stops_but_never_turns_back(speed: float, friction: float) -> None:
    left = rub(speed, friction, 1e-3, 1e-5)
    assert left * speed >= 0.0
    assert abs(left) == pytest.approx(max(abs(speed) - friction * 1e-3 / 1e-5, 0.0), abs=1e-9)


def test_locked_shafts_are_springs_and_open_ones_share_alike() -> None:
    assert shaft_pair(0.1, 0.3, 1.0, 2.0, 0.5, 3.0, True, 2.0, 0.1) == pytest.approx((0.8 + 0.2, 0.4 + 0.1))
    left, right = shaft_pair(0.1, 0.3, 1.0, 2.0, 0.5, 3.0, False, 2.0, 0.1)
    assert left == right == pytest.approx(0.75)


def run_drive(state: np.ndarray, memory: np.ndarray, controls: np.ndarray, steps: int) -> np.ndarray:
    rotation = np.tile(np.eye(3), (BODIES, 1, 1))
    out = np.zeros(O_SIZE)
    for _ in range(steps):
        out[:] = 0.0
        drive_forces(state, controls, memory, ARRAYS.drive, rotation, np.zeros((BODIES, 6)), out)
    return out


def controls_for(duty: float) -> np.ndarray:
    controls = np.zeros(U_SIZE)
    controls[U_DT], controls[U_VOLTAGE], controls[U_DUTY] = 1e-3, 1.0, duty
    return controls


def test_held_wheels_get_stall_torque_times_gears_times_efficiency() -> None:
    state, memory = np.zeros(S_SIZE), np.zeros(M_SIZE)
    for k in range(2000):  # brought up slowly: no rush of the rotor against the wound-up shafts
        out = run_drive(state, memory, controls_for(0.2 * k / 2000), 1)
    run_drive(state, memory, controls_for(0.2), 500)
    d = MODEL.drive
    current = 0.2 * d.voltage / d.resistance
    want = d.kt * (current - d.no_load_current) * d.rear_reduction * d.efficiency
    assert memory[M_SHAFT : M_SHAFT + 4].sum() == pytest.approx(want, rel=2e-3)
    assert out[O_TAU:].sum() == pytest.approx(want, rel=2e-2)
    assert ARRAYS.drive.efficiency == d.efficiency
    assert (ARRAYS.drive.kt, ARRAYS.drive.no_load) == (d.kt, d.no_load_current)


def test_a_freely_turning_driveline_winds_up_nothing() -> None:
    # Wheels in step with the motor, no current: no torque but the motor's own friction.
    state, memory = np.zeros(S_SIZE), np.zeros(M_SIZE)
    drive = ARRAYS.drive._replace(no_load=0.0, drag=0.0, ohm=1e12)
    memory[M_MOTOR_SPEED] = 200.0
    wheels = [S_Q + j for j in (3, 5, 8, 9)]
    for _ in range(400):
        out = np.zeros(O_SIZE)
        state[[i - S_Q + S_QD for i in wheels]] = 200.0 / drive.rear
        rotation = np.tile(np.eye(3), (BODIES, 1, 1))
        drive_forces(state, controls_for(0.0), memory, drive, rotation, np.zeros((BODIES, 6)), out)
        state[wheels] += 1e-3 * 200.0 / drive.rear
    assert memory[M_MOTOR_SPEED] == pytest.approx(200.0, rel=1e-9)
    np.testing.assert_allclose(memory[M_SHAFT : M_SHAFT + 4], 0.0, atol=1e-9)


@given(st.floats(-0.7, 0.7), st.floats(0.05, 0.5))
def test_full_ackermann_has_the_cotangents_differ_by_span_over_wheelbase(command: float, half: float) -> None:
    left, right = wheel_angles(command, 1.0, half)
    if abs(command) > 1e-3:
        assert 1.0 / math.tan(right) - 1.0 / math.tan(left) == pytest.approx(2.0 * half, rel=1e-6)
    assert wheel_angles(command, 0.0, half) == (command, command)


def run_servo(command: float, knuckle: float, steps: int) -> np.ndarray:
    state, memory, out = np.zeros(S_SIZE), np.zeros(M_SIZE), np.zeros(O_SIZE)
    state[S_Q + 2] = state[S_Q + 4] = knuckle
    controls = np.zeros(U_SIZE)
    controls[U_DT], controls[U_STEER] = 1e-3, command
    for _ in range(steps):
        out[:] = 0.0
        steer_forces(state, controls, memory, ARRAYS.drive, out)
    return memory


def test_an_unloaded_servo_turns_at_its_speed_and_stops_at_the_stop() -> None:
    drive = ARRAYS.drive
    soft = drive._replace(link_stiffness=0.0, link_damping=0.0)
    memory, state, out = np.zeros(M_SIZE), np.zeros(S_SIZE), np.zeros(O_SIZE)
    controls = np.zeros(U_SIZE)
    controls[U_DT], controls[U_STEER] = 1e-3, 10.0
    steer_forces(state, controls, memory, soft, out)
    assert memory[M_SERVO] == pytest.approx(drive.servo_speed * 1e-3, rel=1e-12)
    for _ in range(5000):
        steer_forces(state, controls, memory, soft, out)
    assert memory[M_SERVO] == pytest.approx(drive.steer_limit, abs=1e-3 * SERVO_BAND)


def test_a_servo_against_held_knuckles_stalls_at_its_stall_torque() -> None:
    memory = run_servo(0.6, 0.0, 4000)
    assert memory[M_SERVO_LOAD] == pytest.approx(ARRAYS.drive.servo_stall, rel=1e-6)


# --- force-angle margin: E. G. Papadopoulos and D. A. Rey, ICRA 1996; set-ups of the open hector_stability_metrics
# --- repository's own tests (polygon and centre of gravity read there; angles computed, for the repository has none).


def corner_order(front: float, back: float, left: float, right: float) -> np.ndarray:
    """Contacts front left, front right, rear left, rear right on the ground."""
    return np.array([[front, left, 0.0], [front, right, 0.0], [back, left, 0.0], [back, right, 0.0]])


def angles(contact: np.ndarray, cg: np.ndarray, force: np.ndarray) -> list[float]:
    order = [0, 1, 3, 2]
    found = []
    for k in range(4):
        p, q = contact[order[k]] - cg, contact[order[(k + 1) % 4]] - cg
        found.append(math.degrees(edge_angle(tuple(p), tuple(q), tuple(force))))
    return found


def test_margin_of_a_unit_square() -> None:
    contact = corner_order(1.0, 0.0, 1.0, 0.0)
    found = angles(contact, np.array([0.5, 0.5, 1.0]), np.array([0.0, 0.0, -9.81]))
    assert found == pytest.approx([26.565051] * 4, abs=1e-5)  # atan(0.5)


def test_margin_of_an_uneven_rectangle() -> None:
    contact = corner_order(1.0, 0.0, 2.0, 0.0)
    found = angles(contact, np.array([0.2, 0.7, 1.0]), np.array([0.0, 0.0, -9.81]))
    # Edges front, right, rear, left: levers 0.8, 0.7, 0.2, 1.3 at height 1.
    assert found == pytest.approx([38.660, 34.992, 11.310, 52.431], abs=5e-4)


TRUCK, CG = corner_order(0.30, 0.0, 0.10, -0.10), np.array([0.16, 0.0, 0.08])


def test_margin_of_a_small_truck_on_flat_ground() -> None:
    found = angles(TRUCK, CG, np.array([0.0, 0.0, -2.0 * 9.81]))
    assert found == pytest.approx([60.2551, 51.3402, 63.4349, 51.3402], abs=5e-5)
    margin, edge = tip_over_margin(TRUCK, CG, np.array([0.0, 0.0, -1.0]))
    assert math.degrees(margin) == pytest.approx(51.3402, abs=5e-5)
    assert edge in (1, 3)


def test_margin_on_a_side_slope_is_less_by_the_slope() -> None:
    slope = math.radians(30.0)
    margin, edge = tip_over_margin(TRUCK, CG, np.array([0.0, -math.sin(slope), -math.cos(slope)]))
    assert math.degrees(margin) == pytest.approx(21.3402, abs=5e-5)
    assert edge == 1  # right


def test_margin_is_negative_past_the_edge() -> None:
    margin, _ = tip_over_margin(TRUCK, np.array([-0.02, 0.0, 0.08]), np.array([0.0, 0.0, -1.0]))
    assert math.degrees(margin) == pytest.approx(-math.degrees(math.atan(0.02 / 0.08)), abs=1e-9)


@given(st.floats(0.02, 0.2), st.floats(0.0, 0.6))
def test_margin_falls_by_the_tilt_and_vanishes_over_the_edge(height: float, tilt: float) -> None:
    cg = np.array([0.15, 0.0, height])
    lever = math.atan(0.10 / height)
    margin, _ = tip_over_margin(TRUCK, cg, np.array([0.0, math.sin(tilt), -math.cos(tilt)]))
    assert margin <= lever - tilt + 1e-9
    # Sideways tilt: the ends' angles can only be reached first by trucks taller than they are long.
    if lever < math.atan(0.15 / height):
        assert margin == pytest.approx(lever - tilt, abs=1e-9)
