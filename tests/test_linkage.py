"""Rods to joints: instant centre, roll axis, anti-squat and the closed loop."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from models import scenario
from models.defaults import resolve
from models.errors import BuildSheetError
from models.linkage import (
    SLIDE_AT,
    AxleMotion,
    MotionAxis,
    Rods,
    anti_squat_percent,
    axle_motion,
    constraint_matrix,
    free_twists,
    instant_centre,
    roll_centre_height,
    roll_steer,
    velocity,
)
from models.linkage_exact import OutOfReachError, exact_pose, full_travel_error, joint_error, joint_pose
from models.sheet import load_sheet

Vector = NDArray[np.float64]


def mirrored(*left: tuple[tuple[float, float, float], tuple[float, float, float]], z: float = 0.05) -> Rods:
    """Rods from (axle, chassis) ends of the left side, metres, and their mirror images; axle at the origin."""
    both = [(a, c) for a, c in left] + [((a[0], -a[1], a[2]), (c[0], -c[1], c[2])) for a, c in left]
    return Rods(np.array([a for a, _ in both]), np.array([c for _, c in both]), np.array([0.0, 0.0, z]))


LOWER = ((0.0, 0.02, 0.045), (0.120, 0.02, 0.055))
UPPER = ((-0.005, 0.02, 0.085), (0.095, 0.02, 0.080))
UPPER_ANGLED = ((0.0, 0.015, 0.085), (0.100, 0.050, 0.080))


def side_view() -> AxleMotion:
    """Two pairs of links straight in the plan, held sideways by angling the uppers without changing the side view."""
    upper = ((-0.005, 0.005, 0.085), (0.095, 0.030, 0.080))
    return axle_motion(mirrored(LOWER, upper))


def test_instant_centre_where_the_links_cross_in_the_side_view() -> None:
    # Lower (0, .045)-(.120, .055), upper (-.005, .085)-(.095, .080): plane geometry gives (.298125, .069844).
    lower, upper = (0.045, 0.010 / 0.120), (0.085 - 0.005 * 0.05, -0.005 / 0.100)
    x = (upper[0] - lower[0]) / (lower[1] - upper[1])
    assert (x, lower[0] + lower[1] * x) == pytest.approx((0.298125, 0.069844), abs=5e-7)
    assert instant_centre(side_view()) == pytest.approx((x, lower[0] + lower[1] * x), rel=1e-9)


def test_anti_squat_of_the_two_link_example() -> None:
    # Slope .069844 / .298125 = .234277 against h / l = .08 / .30: 87.854 % with all drive at this axle, half of it
    # with half the drive: only that half lifts at this axle.
    motion = side_view()
    assert anti_squat_percent(motion, 0.08, 0.30, 1.0, rear=True) == pytest.approx(87.854, abs=1e-3)
    assert anti_squat_percent(motion, 0.08, 0.30, 0.5, rear=True) == pytest.approx(43.927, abs=1e-3)


def test_anti_squat_of_a_known_instant_centre() -> None:
    # The no-squat line has the slope h / l, "100 % anti-squat"; 50 in ahead and 8 in high with h = 22 in, l = 110 in
    # is 80 % (common practice, no source; the number is plain arithmetic).
    inch = 0.0254
    centre = np.array([50.0, 8.0]) * inch

    def rod(
        x: float, z: float, y: float, y_end: float
    ) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        end = np.array([x, z]) * inch + 0.3 * (centre - np.array([x, z]) * inch)
        return (x * inch, y * inch, z * inch), (float(end[0]), y_end * inch, float(end[1]))

    motion = axle_motion(mirrored(rod(0.0, 12.0, 15.0, 15.0), rod(-1.0, 22.0, 3.0, 12.0), z=16 * inch))
    assert anti_squat_percent(motion, 22 * inch, 110 * inch, 1.0, rear=True) == pytest.approx(80.0, rel=1e-9)


def test_front_links_mirrored_to_the_rear_have_the_same_percentage() -> None:
    rear = mirrored(LOWER, UPPER_ANGLED)
    turn = np.array([-1.0, 1.0, 1.0])
    front = Rods(rear.p_axle * turn, rear.p_chassis * turn, rear.centre * turn)
    anti_lift = anti_squat_percent(axle_motion(front), 0.08, 0.30, 0.5, rear=False)
    assert anti_lift == pytest.approx(anti_squat_percent(axle_motion(rear), 0.08, 0.30, 0.5, rear=True), rel=1e-9)


def test_roll_centre_of_a_triangulated_axle() -> None:
    # Uppers meet in plan at (-.042857, 0, .087143); the lowers are parallel, so the roll axis runs from there along
    # them and crosses the wheel plane at .090714 m (construction after Gillespie ch. 7, numbers by plane geometry).
    motion = axle_motion(mirrored(LOWER, UPPER_ANGLED))
    apex = np.array([-0.015 / 0.35, 0.0, 0.085 + 0.05 * 0.015 / 0.35])
    assert apex == pytest.approx([-0.042857, 0.0, 0.087143], abs=5e-7)
    slope = 0.010 / 0.120
    assert roll_centre_height(motion) == pytest.approx(apex[2] - slope * apex[0], rel=1e-9)
    assert roll_centre_height(motion) == pytest.approx(0.090714, abs=5e-7)
    assert roll_steer(motion) == pytest.approx(slope, rel=1e-9)
    # The apex lies on the axis.
    along = apex - motion.roll.point
    assert np.cross(along, motion.roll.direction) == pytest.approx(np.zeros(3), abs=1e-12)


def test_parallel_links_let_the_axle_slide() -> None:
    # All rods rise by 1 in 10: the axle slides at right angles to them.
    motion = axle_motion(mirrored(((0, 0.02, 0.04), (0.1, 0.02, 0.05)), ((0, 0.01, 0.08), (0.1, 0.04, 0.09))))
    assert motion.heave.kind == "prismatic"
    assert motion.heave.direction == pytest.approx(np.array([-0.1, 0.0, 1.0]) / math.hypot(0.1, 1.0), abs=1e-9)
    assert instant_centre(motion) is None
    # Anti-squat of an instant centre at infinity: the slope of the links themselves.
    assert anti_squat_percent(motion, 0.08, 0.30, 1.0, rear=True) == pytest.approx(100 * 0.1 * 0.30 / 0.08, rel=1e-9)


def test_a_panhard_rod_is_a_fourth_rod() -> None:
    # Two parallel lowers, one upper in the middle, one rod across: the roll centre is where the rod crosses the middle.
    rods = Rods(
        np.array([[0, 0.02, 0.045], [0, -0.02, 0.045], [0, 0, 0.085], [0.01, 0.03, 0.07]], dtype=float),
        np.array([[0.12, 0.02, 0.055], [0.12, -0.02, 0.055], [0.1, 0, 0.08], [0.01, -0.03, 0.07]], dtype=float),
        np.array([0.0, 0.0, 0.05]),
    )
    motion = axle_motion(rods)
    for axis in (motion.heave, motion.roll):
        for p, u in zip(rods.p_axle, rods.directions, strict=True):
            held = abs(float(u @ (velocity(axis, p) + axis.pitch * axis.direction)))
            assert held < 1e-12
    assert velocity(motion.heave, motion.centre)[2] > 0
    assert motion.roll.direction[0] > 0.9


def test_links_that_do_not_hold_the_axle_are_refused() -> None:
    # Four parallel links in the plan: nothing holds the axle sideways.
    with pytest.raises(BuildSheetError, match="do not hold the axle"):
        free_twists(mirrored(LOWER, UPPER), "axles.rear.links")


def twist(axis: MotionAxis, centre: Vector) -> Vector:
    if axis.kind == "revolute":
        return np.concatenate([velocity(axis, centre), axis.direction])
    return np.concatenate([axis.direction, np.zeros(3)])


coordinate = st.floats(-1.0, 1.0)


@given(st.lists(coordinate, min_size=8, max_size=8))
def test_every_joint_keeps_every_rod_to_first_order(shifts: list[float]) -> None:
    # Random symmetric layouts within usual proportions.
    s = np.array(shifts) * 0.01
    lower = ((s[0], 0.025 + s[1], 0.04), (0.11 + s[2], 0.02, 0.05 + 0.5 * s[3]))
    upper = ((-0.005, 0.010 + 0.3 * s[4], 0.085 + s[5]), (0.09 + s[6], 0.04, 0.08 + 0.5 * s[7]))
    rods = mirrored(lower, upper)
    motion = axle_motion(rods)
    for axis in (motion.heave, motion.roll):
        assert axis.pitch == pytest.approx(0.0, abs=1e-10)
        stretch = np.abs(constraint_matrix(rods) @ twist(axis, rods.centre))
        # m of rod per rad: arms are some metres at most. A slide leaves out the turn about a centre at more than
        # SLIDE_AT rods away, so a rod's end an arm of about a rod from the middle is wrong by less than 1 / SLIDE_AT.
        assert np.all(stretch < (1e-9 if axis.kind == "revolute" else 1.5 / SLIDE_AT))
    assert velocity(motion.heave, rods.centre)[2] > 0
    assert motion.roll.direction[0] > 0


def test_the_closed_loop_keeps_the_rods() -> None:
    rods = mirrored(LOWER, UPPER_ANGLED)
    pose = exact_pose(rods, 0.006, 0.15)
    ends = rods.centre + pose.shift + (rods.p_axle - rods.centre) @ pose.turn.T
    # Newton stops at 1e-13 of a rod.
    assert np.linalg.norm(rods.p_chassis - ends, axis=1) == pytest.approx(rods.lengths, rel=1e-12)
    assert (pose.lift, pose.roll) == pytest.approx((0.006, 0.15), abs=1e-12)
    with pytest.raises(OutOfReachError):
        exact_pose(rods, 0.3, 0.0)


def test_the_joints_leave_the_closed_loop_at_second_order() -> None:
    # Halving the travel must quarter the error: the joints are exact to first order and no more.
    rods = mirrored(LOWER, UPPER_ANGLED)
    large, small = joint_error(rods, 0.004, 0.004, 0.10, 3), joint_error(rods, 0.002, 0.002, 0.05, 3)
    assert large.shift / small.shift == pytest.approx(4.0, rel=0.25)
    assert large.steer / small.steer == pytest.approx(4.0, rel=0.25)


@pytest.mark.parametrize("build", scenario.builds(), ids=lambda p: p.stem)
@pytest.mark.parametrize("end", ["front", "rear"])
def test_error_of_the_joints_over_the_full_travel(build: object, end: str) -> None:
    # Measured: up to 0.45 mm and 1.0 deg of steer on the 1/24, at full bump or droop with full roll at once. Bounds:
    # 1 % of the wheelbase and 2 deg, below what a builder can set up.
    sheet = resolve(load_sheet(str(build)))
    axle, tyre = getattr(sheet.axles, end), getattr(sheet.tyres, end)
    error = full_travel_error(axle, 0.46e-3 * tyre.outside_diameter_mm)
    assert error.shift < 0.01 * sheet.wheelbase_mm / 1000
    assert math.degrees(error.steer) < 2.0
    assert math.degrees(error.pitch) < 2.0


def test_joint_signs() -> None:
    # Heave positive: bump. Roll positive: left wheel up.
    motion = axle_motion(mirrored(LOWER, UPPER_ANGLED))
    assert joint_pose(motion, 0.01, 0.0).lift > 0
    assert joint_pose(motion, 0.0, 0.01).roll > 0
