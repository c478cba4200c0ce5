"""Decisions with real trials, kept small: the whole way from sheet to verdict."""

from __future__ import annotations

import pytest

from models.scenario import builds
from models.sheet import load_sheet
from sim.decision import part_move, shift
from sim.decision.obstacle_mix import lines
from sim.decision.runner import opened, yard

pytestmark = pytest.mark.slow


def look(path, workers):
    move = part_move.plan(load_sheet(builds()[0]), (), "battery", along=("battery tray",), to=(115.0,))
    trucks = [move.truck(None), move.truck(115.0)]
    mix = lines(["descent"], (), yard(trucks[0]))
    with opened(trucks, mix, yard(trucks[0]), path, workers=workers) as field:
        return shift.investigate(move, field, mix, trucks, most=12), field.run_trials, field.known_trials


def test_the_battery_forward_costs_descent_and_one_or_two_workers_agree(tmp_path):
    """Statics say so: 7 points more on the front axle nose over earlier (rigid 55 against 51 degrees)."""
    found, run, _ = look(tmp_path / "a.sqlite", 2)
    assert found.judgement.word == "not worth it"
    gap = found.judgement.effect.by_line[0].shift
    assert gap.high < 0.0
    assert -6.0 < gap.value < -2.0
    again, ran, known = look(tmp_path / "a.sqlite", 1)
    assert (ran, known) == (0, run)
    assert again.effects == found.effects
    alone, *_ = look(tmp_path / "b.sqlite", 1)
    assert alone.effects == found.effects
