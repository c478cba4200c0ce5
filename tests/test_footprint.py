"""Distance and rise over the footprint's edge: closed forms on a box and a slope, and turning it over."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from models.footprint import footing
from sim.physics.margin import footprint_margin

LONG, WIDE, HIGH = 0.16, 0.12, 0.05
BOX = np.array([[x, y, 0.0] for x in (LONG, 0.0) for y in (WIDE / 2, -WIDE / 2)])
CG = np.array([LONG / 2, 0.0, HIGH])


def test_box_on_the_level() -> None:
    # Nearest edge at half the width w; the middle rises from h to sqrt(w^2 + h^2).
    found = footing(BOX, CG)
    assert found.distance == pytest.approx(WIDE / 2, rel=1e-12)
    assert found.rise == pytest.approx(math.hypot(WIDE / 2, HIGH) - HIGH, rel=1e-12)


@pytest.mark.parametrize("slope", [0.0, 10.0, 30.0, 50.0])
def test_box_on_a_side_slope_to_the_brink_and_past_it(slope: float) -> None:
    # In the slope's frame gravity leans by s: distance w cos s - h sin s, height over the lower edge h cos s + w sin s.
    s = math.radians(slope)
    found = footing(BOX, CG, np.array([0.0, math.sin(s), math.cos(s)]) * 9.81)
    level = WIDE / 2 * math.cos(s) - HIGH * math.sin(s)
    rise = math.hypot(WIDE / 2, HIGH) - HIGH * math.cos(s) - WIDE / 2 * math.sin(s)
    assert found.distance == pytest.approx(level, rel=1e-12)
    assert found.rise == pytest.approx(math.copysign(rise, level), rel=1e-12)
    brink = math.atan2(WIDE / 2, HIGH)
    there = footing(BOX, CG, np.array([0.0, math.sin(brink), math.cos(brink)]))
    assert (there.distance, there.rise) == pytest.approx((0.0, 0.0), abs=1e-15)


def turned_over(p: np.ndarray, q: np.ndarray, cg: np.ndarray) -> float:
    """Most that the centre of gravity rises while it is turned about the line p q."""
    axis = (q - p) / np.linalg.norm(q - p)

    def height(angle: float) -> float:
        return float(Rotation.from_rotvec(angle * axis).apply(cg - p)[2])

    # The first hump that it meets, whichever way round: at most half a turn off.
    best = minimize_scalar(lambda a: -height(a), bounds=(-math.pi, math.pi), method="bounded", options={"xatol": 1e-9})
    return height(float(best.x)) - height(0.0)


@given(st.lists(st.floats(-0.02, 0.02), min_size=4, max_size=4), st.floats(-0.05, 0.05), st.floats(-0.04, 0.04))
def test_uneven_ground_against_turning_it_over(lift: list[float], ahead: float, aside: float) -> None:
    # Three wheels so that every edge is one of the hull's, each edge on a slope of its own.
    contacts = BOX[[0, 1, 3]] + np.array([0, 0, 1]) * np.array(lift[:3])[:, None]
    cg = CG + [ahead, aside, lift[3]]
    found = footing(contacts, cg)
    over = [turned_over(contacts[k], contacts[(k + 1) % 3], cg) for k in range(3)]
    if found.distance > 1e-4:
        # The search for the hump is good to 1e-9 rad of its place, so to far better than that of its height.
        assert found.rise == pytest.approx(min(over), abs=1e-12)
    angle = footprint_margin(contacts, 3, cg, np.array([0.0, 0.0, -1.0]))
    assert abs(found.distance) < 1e-12 or math.copysign(1, found.distance) == math.copysign(1, angle)


def test_gravity_turned_is_the_truck_turned() -> None:
    turn = Rotation.from_euler("xyz", [0.3, -0.5, 1.1])
    leaning = footing(BOX, CG, turn.inv().apply([0.0, 0.0, 1.0]))
    turned = footing(turn.apply(BOX), turn.apply(CG))
    assert (leaning.distance, leaning.rise) == pytest.approx((turned.distance, turned.rise), rel=1e-12)
