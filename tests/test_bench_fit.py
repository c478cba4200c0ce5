"""Reconciling a sheet with readings: the truth comes back, priors hold what nothing was read of, warnings fit."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from bench_truck import KITCHEN, parsed, small_truck
from scipy.stats import binom

from models.bench.compliance import Yielding, lean, roll_gradient, tip_angle
from models.bench.gain import gains, widths
from models.bench.intake import weighing
from models.bench.measure_tyres import TiltReading
from models.bench.measurement import mean_of
from models.bench.predict import Predictor
from models.bench.reconcile import Fit, reconcile, stiffness_factors, warnings
from models.bench.simulate_readings import real_truck, simulate_readings, truth_of
from models.bench.unknowns import unknowns
from models.bench.weighing import balance
from models.errors import BuildSheetError
from models.massprops import contact_places, truck_properties
from models.spec import LOOSE_PART, Sheet
from models.stability import tip_angles

G = 9.80665


def test_a_rigid_truck_tips_where_the_formula_says() -> None:
    stiff = Yielding(0.3, 0.045, 0.04, 0.2, 0.03, 1e9, 1.0, 0.08, 1e9)
    assert tip_angle(stiff, G) == pytest.approx(math.atan(0.04 / 0.045), abs=1e-6)


def test_roll_gradient_of_the_published_car() -> None:
    # Barton & Fieldhouse, Automotive Chassis Engineering (Springer 2018), p. 174: 1280 kg, d = .365 m,
    # K = 28650 N m/rad: .0194 rad/(m/s^2).
    assert roll_gradient(1280.0, 0.365, 28650.0, 9.81) == pytest.approx(0.0194, abs=5e-5)


def test_springs_alone_give_the_handbook_threshold() -> None:
    # Gillespie (SAE 1992, ch. 9, from memory): T = 60 in, h = 20 in, h_r = 4 in, 6 deg/g: threshold 1.384 g on a level
    # road, 1.5 g rigid. On a table the load that leans the body falls with the cosine, so the tangent lies between;
    # with the lean 6 deg x sin: 30 - 16 R sin(a) = 20 tan(a).
    gradient = math.radians(6.0)
    couple = 1.0 * G * 16.0
    truck = Yielding(1.0, 20.0, 30.0, 1.0, 16.0, couple / gradient + couple * 0.57, 9.0, 60.0, 1e12)
    angle = tip_angle(truck, G)
    assert 1.384 < math.tan(angle) < 1.5
    # A body that leans by b moves sideways by d sin(b) and comes down by d (1 - cos(b)).
    b = gradient * math.sin(angle)
    left = 20.0 - 16.0 * (1.0 - math.cos(b))
    assert 30.0 - 16.0 * math.sin(b) == pytest.approx(left * math.tan(angle), abs=0.02)


def test_give_costs_degrees_and_stops_bound_it() -> None:
    soft = Yielding(0.3, 0.045, 0.04, 0.2, 0.03, 0.5, 1.0, 0.08, 800.0)
    assert tip_angle(soft, G) < math.atan(0.04 / 0.045) - math.radians(1.0)
    stopped = replace(soft, most_lean=0.01)
    assert tip_angle(soft, G) < tip_angle(stopped, G) < math.atan(0.04 / 0.045)
    # Springs too soft to hold the body up lie on their stops.
    assert lean(replace(soft, stiffness=0.05), 0.5, G) == 1.0


def test_the_predictor_sums_like_the_mass_properties() -> None:
    sheet = small_truck()
    free = unknowns(sheet, {}, (False, False))
    predictor = Predictor(sheet, free)
    values = np.array([0.0 if u.part == LOOSE_PART and u.key[2] == "mass" else u.value for u in free])
    truck = truck_properties(sheet)
    assert predictor.state(values) == pytest.approx([truck.mass, *truck.cg], rel=1e-12, abs=1e-15)
    rigid = tip_angles(contact_places(sheet), truck.cg)
    for to in ("left", "right", "back", "front"):
        tilted = predictor.yielding(values, to)
        assert math.atan(tilted.lever / tilted.height) == pytest.approx(getattr(rigid, to), abs=1e-12)
        assert predictor.tilt(values, to) < getattr(rigid, to)


@lru_cache(maxsize=64)
def session(seed: int, tilted: bool = True, loose_g: float = 7.0) -> tuple[Sheet, Fit]:
    """A real truck that differs from the sheet, weighed and fitted; returns it and the fit."""
    rng = np.random.default_rng(seed)
    sheet = small_truck()
    real = real_truck(sheet, rng, loose_g)
    found = balance(weighing(parsed(simulate_readings(truth_of(real), KITCHEN, rng, lifts=(0.3, 0.5))), sheet))
    tilts = []
    if tilted:
        predictor = Predictor(real, [])
        angles = {to: predictor.tilt(np.zeros(0), to) for to in ("left", "back")}
        shown = {to: a + np.radians(rng.normal(0.0, 0.7, 3)) for to, a in angles.items()}
        tilts = [TiltReading(to, mean_of(some, 0.006), to) for to, some in shown.items()]
    return real, reconcile(sheet, found, tilts)


def test_the_fitted_sheet_agrees_with_the_scale() -> None:
    real, fit = session(1)
    state = fit.predictor.state(fit.values)
    truck = truck_properties(real)
    assert state[0] == pytest.approx(truck.mass, abs=2e-3)
    assert state[1:] == pytest.approx(truck.cg, abs=1.2e-3)
    assert not [check for check in fit.checks if check.far]
    # What the scale shows and no part stands for went somewhere near where it was.
    assert 0.0 < fit.unaccounted_g < 20.0


def test_intervals_of_the_fit_cover_the_truth() -> None:
    n = 16
    hits = dict.fromkeys(("front share", "height of the CG"), 0)
    for seed in range(100, 100 + n):
        real, fit = session(seed, tilted=False)
        truck = truck_properties(real)
        true = {"front share": 100 * float(truck.cg[0]) / 0.134, "height of the CG": 1e3 * float(truck.cg[2])}
        for name, _, value, width in widths(fit, 0.134):
            if name in hits:
                hits[name] += abs(value - true[name]) <= width
    for name in ("front share", "height of the CG"):
        # 1 in 1000 for an interval that covers at 95 %.
        assert hits[name] >= binom.ppf(1e-3, n, 0.95), (name, hits)


def test_what_nothing_was_read_of_stays() -> None:
    sheet = small_truck()
    fit = reconcile(sheet, None, (), {"battery": (0.028, 0.0005)})
    for moved in fit.moved:
        if moved.unknown.part != "battery":
            assert moved.after == pytest.approx(moved.before, abs=1e-9)
            assert moved.doubt_after == pytest.approx(moved.doubt_before, rel=1e-6)
    battery = next(m for m in fit.moved if m.unknown.key == ("parts", "battery", "mass"))
    assert battery.before == pytest.approx(30.0)
    assert battery.after == pytest.approx(28.0)


def test_tilt_moves_the_springs_the_right_way() -> None:
    sheet = small_truck()
    soft = [TiltReading("left", mean_of(np.radians([34.0, 34.2, 33.8]), 0.003), "tilt.1")]
    springs, tyres = stiffness_factors(reconcile(sheet, None, soft))
    assert springs is not None
    assert tyres is not None
    assert springs < 1.0
    assert tyres < 1.0
    known = stiffness_factors(reconcile(sheet, None, soft, None, (True, True)))
    assert known == (None, None)


def test_a_missing_part_is_noticed() -> None:
    _, fit = session(5, loose_g=32.0)
    said = " ".join(warnings(fit, small_truck()))
    assert "on no part" in said
    assert "battery" in said  # 30 g: what it looks like


def test_parts_heavier_than_the_truck_are_noticed() -> None:
    sheet = small_truck()
    w = weighing(parsed(simulate_readings(truth_of(sheet), KITCHEN, np.random.default_rng(1), lifts=())), sheet)
    assert w.whole is not None
    assert w.wheels is not None
    light = replace(w, whole=w.whole - 0.024, wheels=tuple(v - 0.006 for v in w.wheels))
    assert "more than the scale shows" in " ".join(warnings(reconcile(sheet, balance(light)), sheet))


def test_unknown_parts_and_nothing_at_all_are_refused() -> None:
    with pytest.raises(BuildSheetError, match='Did you mean "battery"'):
        reconcile(small_truck(), None, (), {"batery": (0.03, 0.001)})
    with pytest.raises(BuildSheetError, match="nothing to fit to"):
        reconcile(small_truck(), None)


def test_gains_are_honest_about_variance() -> None:
    _, fit = session(1)
    ranked = gains(fit, 1e-3, 0.134)
    assert ranked == sorted(ranked, key=lambda g: -g.together)
    assert all(0.0 <= g.then <= g.now for g in ranked)
    # A reading that was just taken cannot be worth more than the same reading before anything was read.
    bare = reconcile(small_truck(), None, (), {"battery": (0.03, 0.001)})
    lift = "lift each axle on the scale, three heights, suspension locked"
    before = next(g for g in gains(bare, 1e-3, 0.134) if g.what == lift)
    after = next(g for g in ranked if g.what == lift)
    assert before.together > after.together


def test_promised_gain_is_what_the_reading_brings() -> None:
    # Weigh the body shell on paper, then in the fit: the width of the height must shrink as foretold (linear; 10 %).
    sheet = small_truck()
    bare = reconcile(sheet, None, (), {"battery": (0.03, 0.0006)})
    promise = next(g for g in gains(bare, 1e-3, 0.134) if g.what == 'weigh "body shell"')
    taken = reconcile(sheet, None, (), {"battery": (0.03, 0.0006), "body shell": (0.068, 0.0006)})
    got = {name: width for name, _, _, width in widths(taken, 0.134)}
    assert got[promise.target] == pytest.approx(promise.then, rel=0.1)


@pytest.mark.slow
@pytest.mark.parametrize(("low", "within"), [("left", 1.0), ("back", 3.5)])
def test_the_closed_form_against_a_whole_simulated_tilt(low: str, within: float) -> None:
    # The doubt that the fit allows is one standard deviation; the simulated truck yields in more ways and tips first.
    from models.assemble import rigid_model
    from sim.validation.tipping import simulated
    from sim.validation.truck import with_grip

    sheet = small_truck()
    ours = math.degrees(Predictor(sheet, []).tilt(np.zeros(0), low))
    whole = simulated(with_grip(rigid_model(sheet), 5.0), low, step=1e-3, near=ours - 6.0)
    assert -0.3 < ours - whole < within
