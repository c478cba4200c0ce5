"""Handbook numbers against published definitions, tables and worked examples."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.assemble import rigid_model
from models.clearance import NONE_IN_THE_WAY, Wheel, approach_angle, breakover_angle, clearance, point_angle
from models.defaults import resolve
from models.formulas import FORMULAS
from models.massprops import GRAVITY, truck_properties
from models.rigid import DriveTrain
from models.sheet import load_sheet
from models.spec import HullShape, Sheet
from models.stability import axle_loads_on_climb, climb_by_grip, grip_under, side_by_grip, tip_angles
from models.statics import Statics, statics
from models.steergeometry import (
    FrontWheel,
    jacking_moment,
    outer_angle,
    scrub_moment,
    scrub_radius,
    turning_radius,
)
from models.traction import climb_by_torque, lead_percent, no_load_speed, stall_current, wheel_torque

deg = math.degrees
rad = math.radians


def contacts(wheelbase: float, front: float, rear: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([[wheelbase, front / 2], [wheelbase, -front / 2], [0.0, rear / 2], [0.0, -rear / 2]])


# --- tipping ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ssf", "angle"), [(1.06, 46.67), (1.13, 48.49), (1.15, 48.99), (1.19, 49.96), (1.20, 50.19)])
def test_side_tip_is_the_arc_tangent_of_the_stability_factor(ssf: float, angle: float) -> None:
    # SSF = T / (2 h) (NHTSA, 65 FR 34998, 1 June 2000). Factors of usual utilities (unsourced); a rigid
    # truck tips at atan(SSF).
    tip = tip_angles(contacts(2.7, 1.5, 1.5), np.array([1.3, 0.0, 0.75 / ssf]))
    assert deg(tip.left) == pytest.approx(angle, abs=0.005)
    assert tip.right == pytest.approx(tip.left, rel=1e-12)


def test_half_a_g_is_about_27_degrees() -> None:
    # SAE J2180 (tilt-table procedure), abstract: a 0.5 g threshold is approximately 27 degrees.
    tip = tip_angles(contacts(6.0, 2.0, 2.0), np.array([3.0, 0.0, 2.0]))
    assert deg(tip.left) == pytest.approx(27.0, abs=0.5)


def test_small_truck_in_four_directions() -> None:
    # T = .20, l = .30, centre of gravity 10 mm ahead of the middle, h = .08 m: levers .16, .14, .10 m (plane geometry).
    tip = tip_angles(contacts(0.30, 0.20, 0.20), np.array([0.16, 0.0, 0.08])).in_degrees()
    assert (tip.back, tip.front, tip.left, tip.right) == pytest.approx((63.4349, 60.2551, 51.3402, 51.3402), abs=5e-5)


def test_sideways_offset_and_unequal_tracks() -> None:
    # 5 mm to the left: 5 mm less lever to the left. Tracks .20 front, .16 rear, centre of gravity in the middle: .09.
    tip = tip_angles(contacts(0.30, 0.20, 0.20), np.array([0.15, 0.005, 0.08]))
    assert (math.tan(tip.left), math.tan(tip.right)) == pytest.approx((0.095 / 0.08, 0.105 / 0.08), rel=1e-12)
    tip = tip_angles(contacts(0.30, 0.20, 0.16), np.array([0.15, 0.0, 0.08]))
    assert math.tan(tip.left) == pytest.approx(0.09 / 0.08, rel=1e-12)


# --- slopes -------------------------------------------------------------------------------------------------


def test_axle_loads_on_a_slope() -> None:
    # 49050 N, l = 2.25 m, 1.0 m ahead of the rear axle, h = 1.5 m, 10 deg nose up: 15790.5 and 32514.3 N. Computed
    # by Jazar, Vehicle Dynamics (Springer 2008), eqs. 2.44-2.45.
    loads = axle_loads_on_climb(49050.0, 1.25, 1.0, 1.5, rad(10))
    assert loads == pytest.approx([15790.5, 32514.3], abs=0.05)
    assert loads.sum() == pytest.approx(48304.8, abs=0.05)
    tip = tip_angles(contacts(2.25, 1.5, 1.5), np.array([1.0, 0.0, 1.5])).in_degrees()
    assert (tip.back, tip.front) == pytest.approx((33.69, 39.81), abs=0.005)


def test_the_tipping_slope_is_where_the_front_axle_carries_nothing() -> None:
    # Jazar, ch. 2, example 46: the weight passes through the rear contact.
    slope = tip_angles(contacts(0.30, 0.2, 0.2), np.array([0.16, 0.0, 0.08])).back
    assert axle_loads_on_climb(1.0, 0.14, 0.16, 0.08, slope)[0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    ("mu", "front", "rear", "both"),
    [(0.6, 15.422, 18.435, 30.964), (0.8, 19.374, 25.388, 38.660), (1.0, 22.834, 32.471, 45.000)],
)
def test_climb_by_grip(mu: float, front: float, rear: float, both: float) -> None:
    # l = .30, a1 = .14, a2 = .16, h = .08: tan s = mu a2 / (l + mu h), mu a1 / (l - mu h), mu (from the equilibrium in
    # Jazar, ch. 2; the printed form of the first, eq. 2.68, has the wrong sign).
    truck = (0.14, 0.16, 0.08)
    assert deg(climb_by_grip((mu, mu), *truck, driven=(True, False))) == pytest.approx(front, abs=5e-4)
    assert deg(climb_by_grip((mu, mu), *truck, driven=(False, True))) == pytest.approx(rear, abs=5e-4)
    assert deg(climb_by_grip((mu, mu), *truck)) == pytest.approx(both, abs=5e-4)


def test_a_car_climbs_by_grip() -> None:
    # l = 2.5, a1 = a2 = 1.25, h = .6, mu = .8: 18.550, 26.338, 38.660 deg (same source).
    car = (1.25, 1.25, 0.6)
    assert deg(climb_by_grip((0.8, 0.8), *car, driven=(True, False))) == pytest.approx(18.550, abs=5e-4)
    assert deg(climb_by_grip((0.8, 0.8), *car, driven=(False, True))) == pytest.approx(26.338, abs=5e-4)


def test_more_grip_than_balance_ends_at_tipping() -> None:
    assert climb_by_grip((3.0, 3.0), 0.14, 0.16, 0.08) == pytest.approx(math.atan2(0.16, 0.08), rel=1e-9)


def test_sixty_percent_grade() -> None:
    # 60 % is atan(.6) = 30.96 deg, with both axles at the same grip.
    assert deg(climb_by_grip((0.6, 0.6), 0.14, 0.16, 0.08)) == pytest.approx(30.96, abs=0.005)
    assert deg(side_by_grip((0.6, 0.6), 0.5)) == pytest.approx(30.96, abs=0.005)


def test_rubber_grips_less_under_more_pressure() -> None:
    # Doubling the load: x .7937 for exponent 1/3 (single Hertz contact, Schallamach 1952), x .9259 for 1/9 (Archard):
    # both from memory.
    assert grip_under(1.0, 2.0, 1.0, 1 / 3) == pytest.approx(0.7937, abs=5e-5)
    assert grip_under(1.0, 2.0, 1.0, 1 / 9) == pytest.approx(0.9259, abs=5e-5)


# --- underside ----------------------------------------------------------------------------------------------


def test_approach_angle_of_a_point() -> None:
    # 49 CFR 523.2 (2015): line tangent to the static loaded radius arc; angles by plane geometry, r = .35 m.
    assert deg(point_angle(0.80, 0.45, 0.35)) == pytest.approx(32.8544, abs=5e-5)
    assert deg(point_angle(0.95, 0.50, 0.35)) == pytest.approx(30.3133, abs=5e-5)
    assert deg(point_angle(0.80, 0.378968, 0.35)) == pytest.approx(28.0, abs=1e-4)
    assert deg(point_angle(0.07, 0.085, 0.060)) == pytest.approx(73.478, abs=5e-4)


@given(st.floats(0.06, 2.0), st.floats(0.0, 1.0))
def test_the_line_is_tangent(x: float, height: float) -> None:
    radius = 0.05
    angle = point_angle(x, height, radius)
    # A line through the point under that angle passes the wheel centre (0, r) at distance r.
    away = abs(math.sin(angle) * (0.0 - x) - math.cos(angle) * (radius - height))
    assert away == pytest.approx(radius, rel=1e-9)


def test_breakover_of_a_flat_belly() -> None:
    # l = 2.6, c = .20, r = .35 m at mid-wheelbase: 17.8620 deg (the usual 2 atan(2 c / l) = 17.4923 leaves out tyres);
    # 14 deg needs c = .156991 m; small truck l = .313, c = .075, r = .060: 55.820 deg (plane geometry of 523.2).
    def belly(wheelbase: float, c: float, radius: float) -> float:
        middle = np.array([[wheelbase / 2, c]])
        return deg(breakover_angle(middle, Wheel(wheelbase, radius), Wheel(0.0, radius)))

    assert belly(2.6, 0.20, 0.35) == pytest.approx(17.8620, abs=5e-5)
    assert belly(2.6, 0.156991, 0.35) == pytest.approx(14.0, abs=1e-4)
    assert belly(0.313, 0.075, 0.060) == pytest.approx(55.820, abs=5e-4)


def gundi() -> Sheet:
    return resolve(load_sheet(scenario.builds()[0]))


def test_hull_shapes_make_the_angles() -> None:
    # One box ahead, one behind and a belly, by hand with point_angle; a cylinder is seen as a circle.
    wheels = Wheel(0.134, 0.025), Wheel(0.0, 0.025)
    box = {"shape": "box", "grip": 0.4}
    hull = (
        HullShape(name="nose", at_mm=(170, 0, 40), size_mm=(10, 40, 10), **box),
        HullShape(name="tail", at_mm=(-30, 0, 45), size_mm=(20, 40, 10), **box),
        HullShape(name="belly", at_mm=(67, 0, 30), size_mm=(20, 40, 4), **box),
        HullShape(name="case", body="rear_axle", shape="cylinder", at_mm=(0, 0, 25), size_mm=(14, 30, 14), grip=0.4),
    )
    under = clearance(gundi().model_copy(update={"hull": hull}), *wheels)
    assert under.approach == pytest.approx(point_angle(0.041, 0.035, 0.025), rel=1e-12)
    assert under.departure == pytest.approx(point_angle(0.040, 0.040, 0.025), rel=1e-12)
    belly = point_angle(0.067 - 0.010, 0.028, 0.025) + point_angle(0.067 + 0.010, 0.028, 0.025)
    assert under.breakover <= belly * (1 + 1e-12)
    assert under.belly == pytest.approx(0.028)
    assert under.rear_axle == pytest.approx(0.018, abs=1e-5)
    assert math.isnan(under.front_axle) or under.front_axle > 0


def test_nothing_in_the_way_is_a_right_angle() -> None:
    assert approach_angle(np.array([[0.1, 0.05]]), Wheel(0.134, 0.025)) == NONE_IN_THE_WAY
    assert approach_angle(np.array([[0.14, 0.025]]), Wheel(0.134, 0.025)) == NONE_IN_THE_WAY  # inside the tyre


# --- steering -----------------------------------------------------------------------------------------------


def test_ackermann() -> None:
    # cot(outer) - cot(inner) = w / l ("fundamental equation of steering"); l = .313, w = .18, inner 40 deg:
    # outer 29.509 deg, rear axle's middle on .46302 m.
    assert deg(outer_angle(rad(40), 0.18, 0.313)) == pytest.approx(29.509, abs=5e-4)
    assert turning_radius(rad(40), 0.18, 0.313) == pytest.approx(0.46302, abs=5e-6)
    assert outer_angle(rad(40), 0.18, 0.313, 0.0) == pytest.approx(rad(40))
    assert turning_radius(0.0, 0.18, 0.313) == math.inf


def test_ackermann_of_the_textbook_car() -> None:
    # Jazar, Vehicle Dynamics, ch. 7 (from memory): l = 103.1 in, w = 61.6 in, inner 12 deg: outer 10.661 deg, radius of
    # the rear axle's middle 516.9 in. The book's figures need 12 deg rounded to .209 rad; hence 0.3 %.
    assert deg(outer_angle(rad(12), 61.6, 103.1)) == pytest.approx(10.661, rel=3e-3)
    assert turning_radius(rad(12), 61.6, 103.1) == pytest.approx(516.9, rel=3e-3)


def test_steering_moment_of_the_van() -> None:
    # Barton & Fieldhouse, Automotive Chassis Engineering (Springer 2018), example E2.1, p. 82: 1200 kg, mu = .58,
    # d = 25 mm, contact 250 mm, inclination 12 deg: lever 87 mm, 594 N m; jacking 28 and 42 N m at 28 and 45 deg.
    van = FrontWheel(1200 * 9.81, 0.58, math.pi * 0.25**2 / 4, 0.025, rad(12))
    assert scrub_moment(van) / (0.58 * 1200 * 9.81) == pytest.approx(0.087, abs=5e-4)
    assert scrub_moment(van) == pytest.approx(594.0, abs=0.5)
    assert jacking_moment(van, rad(28)) == pytest.approx(28, abs=0.5)
    assert jacking_moment(van, rad(45)) == pytest.approx(42, abs=0.5)


def test_without_offset_it_is_the_moment_of_a_round_patch() -> None:
    # Uniform pressure on a circle: (2/3) mu W sqrt(W / (pi p)); mu = .7, W = 3600 N, p = 200 kPa: 127.17 N m.
    wheel = FrontWheel(3600.0, 0.7, 3600.0 / 200e3, 0.0, 0.0)
    assert scrub_moment(wheel) == pytest.approx(127.17, abs=5e-3)


def test_scrub_radius_shrinks_as_the_kingpin_leans() -> None:
    assert scrub_radius(0.04, 0.03, 0.025, 0.0) == pytest.approx(0.010)
    assert scrub_radius(0.04, 0.03, 0.025, math.atan(0.4)) == pytest.approx(0.0, abs=1e-15)


# --- drive --------------------------------------------------------------------------------------------------


def drive(**values: float) -> DriveTrain:
    known: dict[str, Any] = {
        "kt": 60 / (2 * math.pi * 1300), "resistance": 0.10, "no_load_current": 0.0, "current_limit": 1e6,
        "voltage": 7.4, "rotor_inertia": 1e-7, "front_reduction": 40.0, "rear_reduction": 40.0, "shaft_reduction": 3.0,
        "efficiency": 0.8, "shaft_stiffness": 1.0, "shaft_damping": 0.0, "drag_brake": 1.0, "locked_front": True,
        "locked_rear": True,
    }  # fmt: skip
    return DriveTrain(**{**known, **values})


def test_wheel_speed_and_pull() -> None:
    # kV = 1300 rpm/V, 7.4 V, .10 ohm, 40:1, eta = .8, R = 55 mm: stall 316.3 N, no-load 1.3852 m/s (motor of two
    # parameters).
    assert no_load_speed(drive(), 0.055) == pytest.approx(1.3852, abs=5e-5)
    assert wheel_torque(drive()) / 0.055 == pytest.approx(316.3, abs=0.05)


def test_no_load_speed_of_the_calculator() -> None:
    # 5700 rpm/V x 11.1 V = 63270 rpm by plain arithmetic.
    fast = drive(kt=60 / (2 * math.pi * 5700), voltage=11.1, rear_reduction=1.0)
    assert no_load_speed(fast, 1.0) * 60 / (2 * math.pi) == pytest.approx(63270, abs=0.5)


def test_stall_torque_with_no_load_current() -> None:
    # kV = 2300, 11.1 V, .05 ohm, 1 A no-load: stall .91756 N m, no-load 25415 rpm.
    motor = drive(kt=60 / (2 * math.pi * 2300), voltage=11.1, resistance=0.05, no_load_current=1.0, rear_reduction=1.0)
    assert wheel_torque(motor) / 0.8 == pytest.approx(0.91756, abs=5e-6)
    assert no_load_speed(motor, 1.0) * 60 / (2 * math.pi) == pytest.approx(25415, abs=0.5)
    assert stall_current(drive(current_limit=30.0)) == 30.0


def test_climb_by_torque() -> None:
    # "45 deg climb needs 1.2 N m in total at the wheels for 3.0 kg" on 57 mm tyres: sin 45 x 3 x 9.81 x .057 = 1.19.
    assert deg(climb_by_torque(1.2, 0.057, 3.0 * GRAVITY)) == pytest.approx(45.0, abs=1.0)
    assert climb_by_torque(100.0, 0.057, 3.0 * GRAVITY) == pytest.approx(math.pi / 2)


def test_mechanical_lead() -> None:
    # Rolling circumferences 1.000 and 1.330 with gears 1.366: +2.707 % (formula: a tractor tyre maker's page on
    # mechanical lead; number computed).
    assert lead_percent(1.000, 1.330, 1.366) == pytest.approx(2.707, abs=5e-4)


# --- the record ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=scenario.builds(), ids=lambda p: p.stem)
def of_build(request: pytest.FixtureRequest) -> tuple[Sheet, Statics]:
    sheet = resolve(load_sheet(request.param))
    return sheet, statics(sheet)


def test_every_number_has_its_formula_and_source() -> None:
    fields = {field.name for field in dataclasses.fields(Statics)}
    assert set(FORMULAS) == fields
    for field in fields:
        formula = Statics.formula(field)
        assert formula.formula
        assert formula.source
        assert formula.leaves_out


def test_scenario_trucks_are_usual_trucks(of_build: tuple[Sheet, Statics]) -> None:
    # Usual ranges of the three scales (common practice, no source): rigid tip angles 40-70 climb, 38-50 side.
    sheet, truck = of_build
    assert 38 < truck.tip_deg.left < 50
    assert 45 < truck.tip_deg.back < 70
    assert 25 < truck.breakover_deg < 65
    assert 400 < truck.ramp_travel_index < 1500
    assert truck.steer_available_kgcm > truck.steer_needed_kgcm > 0
    assert 0.5 < truck.wheel_speed_m_per_s < 4.0
    assert truck.turning_radius_mm > sheet.wheelbase_mm
    assert 0 < truck.open_ledge_mm <= truck.ledge_mm == min(truck.front_ledge_mm, truck.rear_ledge_mm)
    # Room for the one micrometre of the tabulated tyres.
    assert truck.front_drop_mm == pytest.approx(0.0, abs=2e-3)


def test_statics_follow_the_sheet(of_build: tuple[Sheet, Statics]) -> None:
    sheet, truck = of_build
    cg = truck_properties(sheet).cg
    assert math.tan(rad(truck.tip_deg.back)) == pytest.approx(cg[0] / cg[2], rel=1e-9)
    nearest, up = truck.stability_distance_mm, 1000 * float(cg[2])
    # The lever of the tip angle is measured abreast of the weight, the distance square to the edge.
    assert nearest <= up * math.tan(rad(min(dataclasses.astuple(truck.tip_deg)))) + 1e-9
    assert truck.stability_rise_mm == pytest.approx(math.hypot(nearest, up) - up, rel=1e-9)
    # The model has its wheels where their axles are: scenario sheets draw them up to 2 mm higher.
    assert rigid_model(sheet).cg() == pytest.approx(cg, abs=0.005 * sheet.wheelbase_mm / 1000)
    assert truck.clearance_mm == min(
        truck.belly_clearance_mm, truck.front_axle_clearance_mm, truck.rear_axle_clearance_mm
    )


def test_overdrive_from_teeth() -> None:
    sheet = gundi()
    line = sheet.driveline.model_copy(update={"front_teeth": ((8, 24),), "rear_teeth": ((8, 26),)})
    truck = statics(sheet.model_copy(update={"driveline": line}))
    assert truck.overdrive_percent == pytest.approx(100 * (26 / 24 - 1), rel=1e-12)


def test_a_truck_without_hull_has_no_angles_but_its_links() -> None:
    truck = statics(gundi().model_copy(update={"hull": ()}))
    assert math.isnan(truck.belly_clearance_mm)
    assert truck.approach_deg == pytest.approx(90.0)
    assert math.isnan(truck.clearance_mm) or truck.clearance_mm > 0
