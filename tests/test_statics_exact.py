"""Balances solved as they are, and solver failures told as such."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from models import articulation
from models.bench.compliance import Yielding, lean, tip_angle
from models.equilibrium import NoRestError, Rest

G = 9.80665
TRUCK = Yielding(2.0, 0.06, 0.05, 1.2, 0.04, 5.0, math.radians(25.0), 0.1, 1.0e9)


def test_stiff_springs_and_tyres_tip_at_the_rigid_angle() -> None:
    # atan(T / 2h) with half a track of 50 mm and a height of 60 mm; what is left falls as 1 / K.
    rigid = math.atan2(0.05, 0.06)
    off = [rigid - tip_angle(replace(TRUCK, stiffness=k), G) for k in (1e2, 1e3, 1e4)]
    assert off[2] == pytest.approx(0.0, abs=1e-4)
    assert off[0] / off[1] == pytest.approx(10.0, rel=0.05)


@pytest.mark.parametrize("share", [0.9, 0.999, 1.0, 1.001, 1.2])
def test_lean_keeps_the_balance_however_soft_the_springs(share: float) -> None:
    couple = TRUCK.sprung_mass * G * TRUCK.arm
    soft = replace(TRUCK, stiffness=share * couple, most_lean=2.5)
    turn = lean(soft, 0.2, G)
    assert 0.2 < turn < 2.5
    assert soft.stiffness * turn == pytest.approx(couple * math.sin(0.2 + turn), rel=1e-9)


def test_a_solver_that_fails_on_the_ramp_is_no_lifted_tyre(monkeypatch: pytest.MonkeyPatch) -> None:
    rests = Rest(np.zeros(7), np.ones(4), np.zeros(4), np.zeros(4))

    class Stuck:
        """Finds rest up to 20 mm of rise."""

        def __init__(self, model: object) -> None:
            pass

        def rest(self, ground: np.ndarray, start: object = None) -> Rest:
            if ground[0] > 0.02:
                raise NoRestError("made to fail")
            return rests

    monkeypatch.setattr(articulation, "RestingTruck", Stuck)

    class Model:
        wheelbase = 0.13

    found = articulation.ramp_travel(Model())  # type: ignore[arg-type]
    assert math.isnan(found.index)
    assert found.lifts == "no position of rest found"


def test_a_long_step_is_taken_in_pieces() -> None:
    class Timid:
        """Gets no further than 1 mm from where it starts."""

        def rest(self, ground: np.ndarray, start: Rest) -> Rest:
            if ground[0] - start.q[0] > 0.001:
                raise NoRestError("too far")
            return Rest(np.full(7, ground[0]), np.ones(4), np.zeros(4), np.zeros(4))

    start = Rest(np.zeros(7), np.ones(4), np.zeros(4), np.zeros(4))
    assert articulation._raised(Timid(), 0.0, 0.01, start).q[0] == pytest.approx(0.01)  # type: ignore[arg-type]
