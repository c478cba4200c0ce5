"""The law along one ray: closed forms of the radial-spring tyre, and the squish table it must return."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from models import scenario
from models.defaults import resolve
from models.errors import BuildSheetError
from models.massprops import GRAVITY
from models.sheet import load_sheet
from models.spec import Tyre
from models.tyre import (
    GOOD_FIT,
    MINDLIN_RUBBER,
    TREAD_TO_CARCASS,
    WheelState,
    fit_tyre,
    plate_load,
    plate_stiffness,
    plate_table,
    rows_load,
    static_squish,
    tabulated,
    touching_elements,
    tyre_ring,
    tyre_shape,
)

Vector = NDArray[np.float64]

GRIP = {"grip": 1.0, "grip_at_kpa": 3.0, "grip_pressure_exponent": 0.1, "loss_factor": 0.25}


def tyre(**keys: object) -> Tyre:
    return Tyre.model_validate({"outside_diameter_mm": 54, "width_mm": 20, "rim_diameter_mm": 27, **GRIP, **keys})


TABLES = {
    "usual": ((50, 0.9), (100, 1.5), (200, 2.4), (400, 3.9)),
    "linear": ((50, 0.6), (100, 1.2), (200, 2.4), (400, 4.8)),
    "firm foam after a gap": ((40, 1.2), (80, 1.9), (160, 2.5), (320, 3.2), (640, 4.3)),
    "one row": ((90, 2.0),),
}


@pytest.mark.parametrize(
    ("deflection", "expected"), [(2, 6.89684e-4), (4, 1.954020e-3), (6, 3.595892e-3), (10, 7.763941e-3)]
)
def test_linear_springs_on_a_plate(deflection: float, expected: float) -> None:
    # One row of springs of k = 1 N/m per radian, R = 60 mm: F = 2 [R sin p - (R - d) p], p = acos(1 - d / R).
    # Closed form derived for a ring of radial springs; quadrature agrees to 1e-15.
    radius, d = 0.06, deflection / 1000.0
    n = 360
    load = rows_load(np.array([radius]), n, lambda s: s * 2.0 * math.pi / n, radius - d)
    p = math.acos(1.0 - d / radius)
    assert load == pytest.approx(2.0 * (radius * math.sin(p) - (radius - d) * p), rel=1e-12)
    assert load == pytest.approx(expected, rel=1e-6)


def test_small_deflections_grow_with_the_power_three_halves() -> None:
    # (4 / 3) sqrt(2 / R) d^1.5 for k = 1 N/m per radian... of the force, from the same closed form, within 1 %.
    radius, d = 0.06, 0.0005
    load = rows_load(np.array([radius]), 360, lambda s: s * 2.0 * math.pi / 360, radius - d)
    assert load == pytest.approx(4.0 / 3.0 * math.sqrt(2.0 / radius) * d**1.5, rel=0.01)


def test_a_steep_law_is_integrated_right() -> None:
    # f = sqrt(s) starts with infinite slope; scipy's adaptive quadrature is the oracle.
    shape = tyre_shape(tyre(crown_mm=1.0))
    d = 0.002

    def oracle(radius: float) -> float:
        half = math.acos((shape.radius - d) / radius)

        def slice_(t: float) -> float:
            return math.sqrt(max(radius - (shape.radius - d) / math.cos(t), 0.0)) * math.cos(t)

        return float(quad(slice_, -half, half, limit=200)[0]) * shape.n_round / (2.0 * math.pi)

    # quad itself is good to about 1e-8 with these square-root ends.
    assert plate_load(shape, np.sqrt, d) == pytest.approx(sum(oracle(r) for r in shape.row_radius), rel=1e-6)


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("crown", [0.0, 1.0])
def test_the_table_comes_back(name: str, crown: float) -> None:
    # Within 2 %, averaged over the wheel's turn: a kitchen scale and a caliper are no better.
    shape, law = fit_tyre(tyre(squish=TABLES[name], crown_mm=crown))
    for grams, mm in TABLES[name]:
        back = plate_load(shape, tabulated(law.step, law.force), mm / 1000.0)
        assert back == pytest.approx(grams / 1000.0 * GRAVITY, rel=0.02)


def test_the_law_never_pulls_and_never_falls() -> None:
    for table in TABLES.values():
        _, law = fit_tyre(tyre(squish=table, crown_mm=1.0))
        assert law.force[0] == 0.0
        assert np.all(np.diff(law.force) >= 0.0)


def test_the_rim_stops_the_tread() -> None:
    # Between 85 % of the way and the rim the ray gets at least four times as stiff as before.
    _, law = fit_tyre(tyre(squish=TABLES["usual"]))
    slope = np.diff(law.force)
    assert slope[-1] > 4.0 * slope[int(0.8 * len(slope))]


def test_a_foam_joins_in_where_its_gap_closes() -> None:
    # Carcass 0.5 N/mm alone to 1.5 mm, then 0.6 N/mm more: 1.0 mm gives 0.5 N, 3.0 mm gives 1.5 + 0.9 N.
    sheet = tyre(stiffness_n_per_mm=0.5, foam_gap_mm=1.5, foam_stiffness_n_per_mm=0.6)
    shape, law = fit_tyre(sheet)
    curve = tabulated(law.step, law.force)
    assert plate_load(shape, curve, 0.003) == pytest.approx(2.4, rel=0.02)
    assert plate_load(shape, curve, 0.0012) == pytest.approx(0.6, rel=0.03)
    soft, firm = plate_stiffness(shape, law, 0.0012), plate_stiffness(shape, law, 0.004)
    assert (soft, firm) == pytest.approx((500.0, 1100.0), rel=0.15)


@given(st.floats(0.05, 3.0))
def test_squish_and_load_are_each_other_s_inverse(load: float) -> None:
    shape, law = fit_tyre(tyre(squish=TABLES["usual"]))
    d = static_squish(shape, law, load)
    # Bisection ends at 1 nm of a millimetre.
    assert plate_load(shape, tabulated(law.step, law.force), d) == pytest.approx(load, rel=1e-5)


def test_a_crown_that_contradicts_the_table_gives_way() -> None:
    # 2.5 mm of crown cannot carry a load that grows linearly from the first touch.
    shape, law = fit_tyre(tyre(squish=TABLES["linear"], crown_mm=2.5))
    assert law.misfit < GOOD_FIT
    assert shape.radius - shape.row_radius.min() < 2.5e-3 * (2.0 / 3.0) ** 2


def test_touching_elements_is_the_patch_over_the_spacing() -> None:
    # Patch length 2 R sin p of the radial-spring tyre: R = 60 mm, d = 4 mm: 43.081 mm of chord, 2 p of angle.
    shape = tyre_shape(tyre(outside_diameter_mm=120, rim_diameter_mm=60))
    p = math.acos(1.0 - 4.0 / 60.0)
    assert 2.0 * 60.0 * math.sin(p) == pytest.approx(43.081, abs=5e-4)
    assert touching_elements(shape, 0.004) == pytest.approx(3 * 72 * 2.0 * p / (2.0 * math.pi), rel=1e-12)


def test_stiffness_along_the_ground_is_mindlin_s_share() -> None:
    sheet = tyre(squish=TABLES["usual"])
    shape, law = fit_tyre(sheet)
    ring = tyre_ring(sheet, shape, law, WheelState(0.85, 0.0867, 5e-6))
    d = static_squish(shape, law, 0.85)
    whole = ring.stiffness_along(touching_elements(shape, d))
    assert whole == pytest.approx(MINDLIN_RUBBER * plate_stiffness(shape, law, d), rel=1e-9)
    tread = ring.bristle_stiffness * touching_elements(shape, d)
    assert tread / ring.carcass_stiffness == pytest.approx(TREAD_TO_CARCASS, rel=1e-9)
    # Incompressible rubber, nu = 1/2: 2 (1 - nu) / (2 - nu).
    assert pytest.approx(2 * 0.5 / 1.5) == MINDLIN_RUBBER


def test_a_light_wheel_gets_a_softer_tread_rather_than_an_unstable_one() -> None:
    sheet = tyre(squish=TABLES["usual"])
    shape, law = fit_tyre(sheet)
    wheel = WheelState(0.85, 0.0867, 2e-8)
    ring = tyre_ring(sheet, shape, law, wheel)
    moved = 1.0 / (1.0 / wheel.bounce_mass + shape.radius**2 / wheel.spin_inertia)
    along = ring.stiffness_along(touching_elements(shape, static_squish(shape, law, 0.85)))
    assert along * 1e-6 / moved == pytest.approx(0.5, rel=1e-9)
    assert ring.damping_time * along * 1e-3 / moved <= 0.5 * (1 + 1e-9)


@pytest.mark.parametrize("build", scenario.builds(), ids=lambda p: p.stem)
def test_scenario_tyres_return_their_tables(build: object) -> None:
    sheet = resolve(load_sheet(str(build)))
    for spec in (sheet.tyres.front, sheet.tyres.rear):
        shape, law = fit_tyre(spec)
        d, load = plate_table(spec)
        back = [plate_load(shape, tabulated(law.step, law.force), float(x)) for x in d]
        assert back == pytest.approx(load.tolist(), rel=0.02)


def test_tables_that_cannot_be_are_refused() -> None:
    with pytest.raises(BuildSheetError, match="rim"):
        plate_table(tyre(squish=((100, 14.0),)))
    with pytest.raises(BuildSheetError, match="squish"):
        plate_table(tyre())
