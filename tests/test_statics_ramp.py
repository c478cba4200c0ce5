"""Rest on uneven ground and the ramp travel index, against published indices and two-spring statics."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from models import scenario
from models.articulation import ramp_index, ramp_travel
from models.assemble import rigid_model
from models.equilibrium import NoRestError, RestingTruck, level, shock_force
from models.massprops import GRAVITY
from models.rigid import RigidModel, ShockLine
from models.sheet import load_sheet


@pytest.fixture(scope="module")
def model() -> RigidModel:
    return rigid_model(load_sheet(scenario.builds()[0]))


def with_shocks(model: RigidModel, **values: float) -> RigidModel:
    return dataclasses.replace(model, shocks=tuple(dataclasses.replace(s, **values) for s in model.shocks))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("along", "wheelbase", "expected"),
    [
        # 1000 x way up the 20 degree ramp / wheelbase, in any unit (common practice, no source).
        (62.0, 94.0, 659.57),
        (72.0, 93.0, 774.19),
        (1500.0, 2500.0, 600.0),
    ],
)
def test_indices_from_the_way_up_the_ramp(along: float, wheelbase: float, expected: float) -> None:
    assert ramp_index(along * math.sin(math.radians(20)), wheelbase) == pytest.approx(expected, abs=0.005)


def test_index_from_wheel_height() -> None:
    # From the height of the wheel, 1000 / sin 20 = 2924 x height / wheelbase: 21.205 in on 94 in; on a 23 deg ramp it
    # would read 577.35.
    assert ramp_index(21.205, 94.0) == pytest.approx(2924 * 21.205 / 94.0, rel=1e-3)
    assert ramp_index(21.205, 94.0, math.radians(23)) == pytest.approx(577.35, abs=0.05)


def test_shock_force_by_hand() -> None:
    line = ShockLine(2, np.zeros(3), np.zeros(3), 0.04, 0.5, 140.0, 1.7, 0.006, 0.004, 4200.0)
    assert shock_force(line, 0.0) == pytest.approx(0.5)
    assert shock_force(line, 0.002) == pytest.approx(0.78)
    assert shock_force(line, 0.007) == pytest.approx(0.5 + 0.98 + 4.2)
    assert shock_force(line, -0.0038) == pytest.approx(0.0)  # loose before its stop
    assert shock_force(line, -0.005) == pytest.approx(-4.2)


def test_loads_balance_on_uneven_ground(model: RigidModel) -> None:
    truck = RestingTruck(model)
    rest = truck.rest(np.array([0.010, 0.0, 0.0, 0.0]))
    weight = model.mass * GRAVITY
    assert rest.loads.sum() == pytest.approx(weight, rel=1e-8)
    # Raising the front left wheel loads its own diagonal.
    assert rest.loads[0] + rest.loads[3] > rest.loads[1] + rest.loads[2]


def test_twist_load_of_a_stiff_truck_is_that_of_its_tyres(model: RigidModel) -> None:
    # Shocks a thousand times stiffer: four tyres as springs k under a rigid plate. Raising one wheel by s loads each
    # diagonal by k s / 4 (statics of a four-legged table), k the slope of the tyre's law at rest.
    stiff = with_shocks(model, rate=140e3, stop_rate=4.2e6)
    truck, s = RestingTruck(stiff), 1e-5
    flat = truck.rest(np.zeros(4))
    up = truck.rest(np.array([s, 0.0, 0.0, 0.0]), flat)
    change = up.loads - flat.loads
    # The truck leans by s / 2 over its track; its weight, some 4 cm up, adds 4 % of the moment at one end.
    assert change == pytest.approx(change[0] * np.array([1, -1, -1, 1]), rel=0.08)
    # The sheet's table about the wheel load of 80 g: 40 g over .8 mm below it, 40 g over .7 mm above.
    slope = 0.5 * (0.040 / 0.8e-3 + 0.040 / 0.7e-3) * GRAVITY
    assert change[0] * 4 / s == pytest.approx(slope, rel=0.08)


def test_roll_stiffness_of_two_springs() -> None:
    # K = 1/2 k s^2 of a solid axle on two springs s apart (each gives k s / 2 of the roll, at an arm s / 2):
    # k = 100 lb/in, s = 60 in: 180000 in lb/rad = 3141.59 in lb/deg; 150 N/m, .08 m: .480 N m/rad. Here from the
    # shocks' force law.
    for k, s, expected in ((100.0, 60.0, 180000.0), (150.0, 0.08, 0.480)):
        line = ShockLine(2, np.zeros(3), np.zeros(3), 1.0, 1e9, k, 0.0, 1e9, 1e9, 0.0)
        turn = 1e-3
        moment = s / 2 * (shock_force(line, turn * s / 2) - shock_force(line, -turn * s / 2))
        assert moment / turn == pytest.approx(expected, rel=1e-4)


def test_more_travel_climbs_farther(model: RigidModel) -> None:
    short = with_shocks(model, bump=0.002, droop=0.001)
    long = with_shocks(model, bump=0.009, droop=0.007)
    low, usual, high = (ramp_travel(m).index for m in (short, model, long))
    assert low < usual < high


def test_what_lifts_is_not_the_climbing_wheel(model: RigidModel) -> None:
    travel = ramp_travel(model)
    assert travel.lifts in ("front right", "rear left")
    assert travel.index == pytest.approx(ramp_index(travel.rise, model.wheelbase), rel=1e-12)
    rest = RestingTruck(model).rest(np.array([travel.rise, 0.0, 0.0, 0.0]), None)
    # Bisected to 1e-5 of the wheelbase: what is left on the tyre is less than a hundredth of the truck.
    assert 0.0 <= rest.loads.min() < 0.01 * model.mass * GRAVITY


def test_a_truck_that_cannot_rest_says_so(model: RigidModel) -> None:
    with pytest.raises(NoRestError):
        RestingTruck(model).rest(np.array([5.0, 0.0, 0.0, 0.0]))


def test_lean_is_to_the_heavy_side(model: RigidModel) -> None:
    heavy = [dataclasses.replace(model.bodies[0], p_BBcm=model.bodies[0].p_BBcm + [0.0, 0.010, 0.0])]
    tilted = dataclasses.replace(model, bodies=(*heavy, *model.bodies[1:]))
    rest = level(tilted)
    assert rest.roll < -math.radians(0.5)  # left side down
    assert rest.loads[0] > rest.loads[1]
