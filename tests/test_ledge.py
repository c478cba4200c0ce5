"""Ledge limits against a linear programme over contact forces that knows nothing of the closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq, linprog

from models.ledge import LedgeTruck, ledge_limits

TRUCK = LedgeTruck(grip=(0.6, 0.6), radius=(0.027, 0.027), wheelbase=0.133, ahead=0.075, height=0.045)
TRUCKS = {
    "usual": TRUCK,
    "front heavy, high": replace(TRUCK, ahead=0.095, height=0.060),
    "unlike grip": replace(TRUCK, grip=(0.8, 0.5)),
    "unlike wheels": replace(TRUCK, grip=(0.5, 0.6), radius=(0.024, 0.030)),
    "slippery": replace(TRUCK, grip=(0.2, 0.3)),
    "sticky": replace(TRUCK, grip=(1.3, 1.1)),
}


def pose(truck: LedgeTruck, height: float, angle: float, climbing: str) -> list[tuple[np.ndarray, np.ndarray]] | None:
    """Contacts (place, normal) of front and rear axle and last the centre of gravity, m, world, step's edge at 0, 0.

    The climbing axle hangs on the edge ``angle`` before its top; the other stands under or over it.
    """
    (front, rear), length = truck.radius, truck.wheelbase
    lean = np.array([-math.sin(angle), math.cos(angle)])
    if climbing == "front":
        hub, below = front * lean, rear - height  # the rear hub's height is given
        drop = hub[1] - below
        reach = math.hypot(length, front - rear)
        behind = math.sqrt(reach**2 - drop**2)
        rear_hub, front_hub = np.array([hub[0] - behind, below]), hub
        touch = [(np.zeros(2), lean), (rear_hub - [0, rear], np.array([0.0, 1.0]))]
    else:
        rear_hub = rear * lean
        rise = front - rear_hub[1]
        reach = math.hypot(length, front - rear)
        if abs(rise) >= reach:
            return None
        front_hub = rear_hub + [math.sqrt(reach**2 - rise**2), rise]
        touch = [(front_hub - [0, front], np.array([0.0, 1.0])), (np.zeros(2), lean)]
    # Truck's own axes from the line of hubs.
    level = np.array([length, front - rear]) / reach
    now = (front_hub - rear_hub) / reach
    turn = np.array([[level @ now, level[1] * now[0] - level[0] * now[1]],
                     [level[0] * now[1] - level[1] * now[0], level @ now]])  # fmt: skip
    return [*touch, (rear_hub + turn @ [truck.ahead, truck.height - rear], np.zeros(2))]


def holds(truck: LedgeTruck, height: float, angle: float, climbing: str) -> bool:
    """Whether forces inside the cones balance the weight: a linear programme in N, T, N', T'."""
    found = pose(truck, height, angle, climbing)
    if found is None:
        return False
    (cg, _) = found[2]
    balance, cone = [], []
    for (place, normal), mu in zip(found[:2], truck.grip, strict=True):
        along = np.array([normal[1], -normal[0]])
        for force in (normal, along):
            arm = place - cg
            balance.append([force[0], force[1], 100.0 * (arm[0] * force[1] - arm[1] * force[0])])
        cone.append(mu)
    wheels = [[-cone[0], 1, 0, 0], [-cone[0], -1, 0, 0], [0, 0, -cone[1], 1], [0, 0, -cone[1], -1]]
    matrix, wanted = np.array(balance).T, [0.0, 1.0, 0.0]
    if truck.open_coupling:  # equal torques: T R of both axles
        matrix, wanted = np.vstack([matrix, [0, 100 * truck.radius[0], 0, -100 * truck.radius[1]]]), [*wanted, 0.0]
    bounds = [(0, None), (None, None), (0, None), (None, None)]
    return bool(linprog(np.zeros(4), A_ub=wheels, b_ub=np.zeros(4), A_eq=matrix, b_eq=wanted, bounds=bounds).success)


@pytest.mark.parametrize("open_coupling", [False, True])
@pytest.mark.parametrize("climbing", ["front", "rear"])
@pytest.mark.parametrize("name", TRUCKS)
def test_limit_is_where_no_forces_balance_any_more(name: str, climbing: str, open_coupling: bool) -> None:
    # Derived for lift-off; asked of every moment of the climb. 0.2 % of a radius beside the limit, the programme's own
    # tolerance is 1e-7.
    truck = replace(TRUCKS[name], open_coupling=open_coupling)
    radius = truck.radius[climbing == "rear"]
    limit = getattr(ledge_limits(truck), climbing)
    start = math.acos(1.0 - min(limit - 0.002 * radius, radius) / radius)
    below = radius * (1.0 - math.cos(start))
    assert all(holds(truck, below, p, climbing) for p in np.linspace(start, 1e-3, 25))
    if limit < radius:
        start = math.acos(1.0 - (limit + 0.002 * radius) / radius)
        assert not holds(truck, limit + 0.002 * radius, start, climbing)


def test_without_grip_nothing_and_with_any_the_radius_or_the_fall_backwards() -> None:
    bare = ledge_limits(replace(TRUCK, grip=(1e-6, 1e-6)))
    assert bare.front == pytest.approx(0.0, abs=1e-8)
    assert bare.rear == pytest.approx(0.0, abs=1e-8)
    stuck = ledge_limits(replace(TRUCK, grip=(1e6, 1e6)))
    assert stuck.front == stuck.rear == TRUCK.radius[0]
    # Tail heavy and high: with any grip the rear axle ends where the weight stands over the edge,
    # b cos q - (z - R) sin q = R sin p, sin q = h / l.
    tall = replace(TRUCK, grip=(1e6, 1e6), ahead=0.030, height=0.080)

    def over(p: float) -> float:
        q = math.asin(0.027 * (1 - math.cos(p)) / 0.133)
        return 0.030 * math.cos(q) - 0.053 * math.sin(q) - 0.027 * math.sin(p)

    p = brentq(over, 0.1, math.pi / 2)
    assert ledge_limits(tall).rear == pytest.approx(0.027 * (1 - math.cos(p)), rel=1e-6)


def test_weight_over_an_axle() -> None:
    # All weight behind: the front wheels are lifted by nothing.
    assert ledge_limits(replace(TRUCK, ahead=0.0)).front == TRUCK.radius[0]
    # All weight over the front wheels, at their hubs' height so that it stays there: rear wheels on the edge carry
    # nothing, and any ledge will do.
    assert ledge_limits(replace(TRUCK, ahead=0.133, height=0.027)).rear == TRUCK.radius[1]
    # All weight over the front wheels, front climbing, a long truck: the wheel rolls over by its own grip and no push,
    # tan p = mu, but for the lever R / l of the rear axle.
    far = replace(TRUCK, wheelbase=100.0, ahead=100.0)
    assert ledge_limits(far).front == pytest.approx(0.027 * (1.0 - math.cos(math.atan(0.6))), rel=2e-3)


def test_equal_torque_asks_for_half_the_angle() -> None:
    # Equal wheels, open coupling: N sin p = T (1 + cos p), so that the edge grips up to tan(p / 2) = mu.
    slick = replace(TRUCK, grip=(0.25, 10.0), open_coupling=True)
    p = 2.0 * math.atan(0.25)
    assert ledge_limits(slick).front == pytest.approx(0.027 * (1 - math.cos(p)), rel=1e-6)
