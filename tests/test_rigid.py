"""The rigid model: the sheet's mass and places, valid bodies, and a truck that stands where the sheet says."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from step_limits import BOUND, hull_sink, servo_twist, step_ratios

from models import scenario
from models.assemble import rigid_model, sprung_axles
from models.configuration import content_hash
from models.defaults import resolve
from models.drive import KGCM, drive_train, front_lead, stall_torque, teeth_ratio, torque_constant
from models.equilibrium import level, ride_drop
from models.errors import BuildSheetError
from models.linkage import velocity
from models.massprops import (
    GRAVITY,
    MassProperties,
    body_properties,
    combined,
    truck_properties,
    wheel_loads,
)
from models.rigid import BODY_NAMES, JOINT_COUNT, PARENTS, WHEEL_BODIES, RigidModel
from models.sheet import load_sheet
from models.spec import Driveline, Sheet
from models.stance import stances

BUILDS = scenario.builds()


@pytest.fixture(scope="module", params=BUILDS, ids=lambda p: p.stem)
def sheet(request: pytest.FixtureRequest) -> Sheet:
    return resolve(load_sheet(request.param))


@pytest.fixture(scope="module")
def model(sheet: Sheet) -> RigidModel:
    return rigid_model(sheet)


def gundi() -> Sheet:
    return resolve(load_sheet(BUILDS[0]))


def changed(sheet: Sheet, **values: Any) -> Sheet:
    return sheet.model_copy(update=values)


def with_axle(sheet: Sheet, end: str, **values: Any) -> Sheet:
    axle = getattr(sheet.axles, end).model_copy(update=values)
    return changed(sheet, axles=sheet.axles.model_copy(update={end: axle}))


def whole(model: RigidModel) -> MassProperties:
    places = model.origins()
    return combined(MassProperties(b.mass, p + b.p_BBcm, b.I_BBcm) for b, p in zip(model.bodies, places, strict=True))


def test_the_tree(model: RigidModel) -> None:
    assert tuple(b.name for b in model.bodies) == BODY_NAMES
    assert tuple(b.parent for b in model.bodies) == PARENTS
    assert len(model.bodies) == JOINT_COUNT + 1
    assert model.bodies[0].joint == "free"
    for body in model.bodies:
        assert np.linalg.norm(body.axis) == pytest.approx(1.0, abs=1e-12)


def test_the_bodies_sum_to_the_truck_of_the_sheet(sheet: Sheet, model: RigidModel) -> None:
    # The model puts each wheel's weight on its own axle; with the wheels' parts drawn there, all sums must agree.
    heights = {"front_wheels": 1000 * model.origins()[4, 2], "rear_wheels": 1000 * model.origins()[9, 2]}
    parts = tuple(
        p.model_copy(update={"at_mm": (p.at_mm[0], p.at_mm[1], heights[p.body])}) if p.body in heights else p
        for p in sheet.parts
    )
    moved = changed(sheet, parts=parts)
    ours, theirs = whole(rigid_model(moved)), truck_properties(moved)
    assert ours.mass == pytest.approx(theirs.mass, rel=1e-12)
    assert ours.cg == pytest.approx(theirs.cg, abs=1e-12)
    # Scenario wheels stand over their axles, so nothing else has moved.
    assert ours.inertia == pytest.approx(theirs.inertia, abs=1e-9 * float(np.trace(theirs.inertia)))


def test_every_body_can_exist(model: RigidModel) -> None:
    for body in model.bodies:
        low, middle, high = np.linalg.eigvalsh(body.I_BBcm)
        assert body.mass > 0.0
        assert low > 0.0
        assert low + middle >= high * (1.0 - 1e-12)
        assert body.I_BBcm == pytest.approx(body.I_BBcm.T, abs=0.0)


def test_joints_stand_where_the_sheet_puts_them(sheet: Sheet, model: RigidModel) -> None:
    places = model.origins()
    for i, axle in ((4, sheet.axles.front), (9, sheet.axles.rear)):
        assert places[i, :2] == pytest.approx([axle.x_mm / 1000, axle.track_mm / 2000], abs=1e-12)
        assert places[i + (2 if i == 4 else 1), 1] == pytest.approx(-axle.track_mm / 2000, abs=1e-12)
    pin = sheet.axles.front.kingpin_y_mm
    assert pin is not None
    assert places[3] == pytest.approx([sheet.axles.front.x_mm / 1000, pin / 1000, places[4, 2]], abs=1e-12)
    for i in WHEEL_BODIES:
        assert model.bodies[i].axis == pytest.approx([0, 1, 0], abs=0)


def test_signs_of_the_joints(model: RigidModel) -> None:
    places = model.origins()
    for arm, axle, wheel in ((1, 2, 4), (7, 8, 9)):
        heave, roll = model.bodies[arm], model.bodies[axle]
        middle = places[wheel] * [1.0, 0.0, 1.0]
        bump = heave.axis if heave.joint == "prismatic" else np.cross(heave.axis, middle - places[arm])
        assert bump[2] > 0
        assert roll.axis[0] > 0.9
    for knuckle in (3, 5):
        assert model.bodies[knuckle].axis[2] > 0.7


def test_kingpins_lean_in_and_back() -> None:
    leaning = with_axle(gundi(), "front", kingpin_inclination_deg=8.0, caster_deg=5.0)
    left, right = rigid_model(leaning).bodies[3].axis, rigid_model(leaning).bodies[5].axis
    assert left[1] / left[2] == pytest.approx(-math.tan(math.radians(8)), rel=1e-12)
    assert left[0] / left[2] == pytest.approx(-math.tan(math.radians(5)), rel=1e-12)
    assert right == pytest.approx(left * [1, -1, 1], abs=1e-15)


def test_it_stands_at_ride_height_on_its_squished_tyres(sheet: Sheet, model: RigidModel) -> None:
    # The springs are set by virtual work on the joints, the equilibrium is found by moving frames: two ways.
    rest = level(model)
    drop = ride_drop(model, rest)
    # A thousandth of a millimetre; the tabulated tyres differ by that.
    assert drop == pytest.approx((0.0, 0.0), abs=2e-6)
    assert rest.loads.sum() == pytest.approx(model.mass * GRAVITY, rel=1e-8)
    front, rear = stances(sheet, wheel_loads(sheet))
    assert model.origins()[4, 2] == pytest.approx(front.height, abs=1e-12)
    assert front.squish > 0.5e-3 * front.shape.room
    assert rear.height < rear.shape.radius


def test_a_softer_preload_lets_it_sink_by_the_spring() -> None:
    base = gundi()
    less = 0.1  # N per shock
    springs = sprung_axles(body_properties(base), *stances(base, wheel_loads(base)))
    low = base
    for end, spring in zip(("front", "rear"), springs, strict=True):
        shock = getattr(base.axles, end).shock.model_copy(update={"preload_n": spring.holding_force() - less})
        low = with_axle(low, end, shock=shock)
    model = rigid_model(low)
    expected = [less / (1000 * s.axle.shock.rate_n_per_mm) / s.motion_ratio() for s in springs]
    # First order against the full geometry, over 0.8 mm of a 36 mm shock.
    assert ride_drop(model, level(model)) == pytest.approx(expected, rel=0.05)


def test_an_upright_shock_over_the_axle_moves_as_the_axle() -> None:
    # Vertical and in the axle's plane, shortening equals lift: ratio 1. Leaning by 60 deg sideways: cos 60 = 1/2.
    base = gundi()
    for top, expected in (((0.0, 26.0, 72.0), 1.0), ((0.0, 26.0 + 40 * math.sqrt(3), 72.0), 0.5)):
        shock = base.axles.rear.shock.model_copy(update={"chassis_mm": top, "axle_mm": (0.0, 26.0, 32.0)})
        moved = with_axle(base, "rear", shock=shock)
        spring = sprung_axles(body_properties(moved), *stances(moved, wheel_loads(moved)))[1]
        # The foot swings about the instant centre with the wheel's plane: straight up but for its height.
        straight = velocity(spring.motion.heave, np.array([0.0, 0.026, 0.032]))
        lift = velocity(spring.motion.heave, spring.motion.centre)[2]
        along = (np.array(top) - [0.0, 26.0, 32.0]) / np.linalg.norm(np.array(top) - [0.0, 26.0, 32.0])
        assert spring.motion_ratio() == pytest.approx(float(straight @ along) / lift, rel=1e-12)
        assert spring.motion_ratio() == pytest.approx(expected, rel=1e-6)


def test_a_mirrored_truck_is_the_mirror_image() -> None:
    base = gundi()
    flip = tuple(
        p.model_copy(update={"at_mm": (p.at_mm[0], -p.at_mm[1], p.at_mm[2])})
        if p.body in ("chassis", "front_axle", "rear_axle")
        else p
        for p in base.parts
    )
    ours, theirs = rigid_model(base), rigid_model(changed(base, parts=flip))
    assert theirs.cg() == pytest.approx(ours.cg() * [1, -1, 1], abs=1e-15)
    assert level(theirs).roll == pytest.approx(-level(ours).roll, rel=1e-6)


@pytest.mark.parametrize(("kv", "kt"), [(5700, 1.67532e-3), (2300, 4.15187e-3), (1300, 7.34561e-3)])
def test_torque_constant(kv: float, kt: float) -> None:
    # K_T = 60 / (2 pi K_v), from the power balance of an ideal motor: K_T i w = e i and e = w / K_v.
    assert torque_constant(kv) == pytest.approx(kt, rel=5e-6)


def test_reductions_and_overdrive() -> None:
    # Driven over driving teeth of every pair; the axle that turns faster has the smaller reduction.
    assert teeth_ratio(((8, 26), (20, 30))) == pytest.approx(26 / 8 * 1.5)
    line = Driveline(reduction=52, front_teeth=((8, 24),), rear_teeth=((8, 26),))
    assert front_lead(line) == pytest.approx(26 / 24)
    base = gundi()
    quick = changed(base, driveline=base.driveline.model_copy(update={"overdrive_percent": 25.0}))
    drive = drive_train(quick, 5e-6)
    assert drive.front_reduction == pytest.approx(52 / 1.25)
    assert drive.rear_reduction == pytest.approx(52)


def test_servo_torque_follows_supply_and_arm() -> None:
    base = gundi()
    servo = base.servo.model_copy(update={"stall_kgcm": 2.0, "at_v": 6.0, "supply_v": 4.5, "arm_ratio": 1.5})
    # 1 kg cm = 0.0980665 N m, exact by standard gravity (CGPM 1901).
    assert stall_torque(changed(base, servo=servo)) == pytest.approx(2.0 * KGCM * 0.75 * 1.5, rel=1e-12)
    assert pytest.approx(9.80665 / 100) == KGCM


def test_force_elements_fit_a_step_of_a_millisecond(model: RigidModel) -> None:
    ratios = step_ratios(model)
    assert max(ratios.values()) <= BOUND * (1 + 1e-9), ratios
    # What the limits cost, measured: at most 3.8 deg of servo twist (2 deg wanted) and 1 mm under the softest feeler.
    assert math.degrees(servo_twist(model)) < 4.5
    assert hull_sink(model) < 0.0015


def test_overstiff_parts_are_softened_to_the_step() -> None:
    base = gundi()
    stiff = changed(base, driveline=base.driveline.model_copy(update={"shaft_stiffness_nm_per_rad": 500.0}))
    assert step_ratios(rigid_model(stiff))["drive shaft"] == pytest.approx(0.25, rel=1e-9)


def test_the_model_carries_the_configuration_s_hash(sheet: Sheet, model: RigidModel) -> None:
    assert model.config_hash == content_hash(sheet)


def test_an_unresolved_sheet_is_resolved(sheet: Sheet) -> None:
    raw = load_sheet(next(Path(p) for p in BUILDS if load_sheet(p).name == sheet.name))
    assert rigid_model(raw).config_hash == rigid_model(sheet).config_hash


def test_a_tyre_under_its_rim_is_refused() -> None:
    # 0.02 N/mm under 0.8 N would give 40 mm on a tyre with 13 mm of room.
    base = gundi()
    flat = base.tyres.front.model_copy(update={"squish": None, "stiffness_n_per_mm": 0.02, "foam_gap_mm": None})
    with pytest.raises(BuildSheetError, match="front tyre onto its rim"):
        rigid_model(changed(base, tyres=base.tyres.model_copy(update={"front": flat})))


def test_a_shock_lying_flat_is_refused() -> None:
    base = gundi()
    shock = base.axles.rear.shock.model_copy(update={"chassis_mm": (7.0, 60.0, 33.0), "axle_mm": (7.0, 26.0, 33.0)})
    with pytest.raises(BuildSheetError, match="cannot carry the truck"):
        rigid_model(with_axle(base, "rear", shock=shock))
