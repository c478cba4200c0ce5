"""The word on trials at stated levels: from tables made by hand, against what counting gives."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.compare.comparison import CellResult, Comparison
from sim.decision.driven import judged, ranged
from sim.decision.judgement import Spread
from sim.decision.levels import Chosen
from sim.decision.obstacle_mix import lines
from sim.decision.unknowns import Prior
from sim.statistics.interval import Estimate, wilson
from sim.statistics.paired import PairTable, paired_difference, verdict
from sim.store.store import StoredTruck
from sim.trial.ground_cache import Yard
from sim.trial.task import Versions

YARD = Yard(134.0, 27.0, 24.0)
NONE = Estimate(math.nan, math.nan, math.nan)
GAIN, SAME = PairTable(20, 36, 0, 4), PairTable(28, 1, 1, 30)


def cell(obstacle, level, table, sides=None):
    return CellResult("b", "moved", obstacle, level, "deg", "steady", wilson(0, 0), 0, {}, NONE, NONE, verdict(table),
                      None, wilson(0, 0), None, None, sides)


def comparison(*cells):
    return Comparison(StoredTruck("a", "as it is", {}), cells, Versions("", ""), 0)


def mix(*names):
    return ranged([Chosen(line, (50.0, 52.0), 51.0, 1.0, ()) for line in lines(names, [], YARD)])


def test_the_gain_is_that_of_all_pairs_and_hangs_on_the_one_line_that_brings_it():
    ground = mix("climb", "descent")
    found = judged(comparison(cell(ground[0].obstacle, 50.0, GAIN), cell(ground[1].obstacle, 50.0, SAME)), "b", ground,
                   1.0)
    whole = paired_difference(PairTable.sum([GAIN, SAME]))
    assert found.effect.gain.value == pytest.approx(100 * whole.value) == pytest.approx(30.0)
    assert found.effect.gain.low == pytest.approx(100 * whole.low)
    assert [one.contribution.value for one in found.effect.by_line] == pytest.approx([30.0, 0.0])
    assert found.word == "hangs on climb"
    assert [one.value for one in found.effect.without] == pytest.approx([0.0, 60.0])
    both = judged(comparison(*(cell(line.obstacle, 50.0, GAIN) for line in ground)), "b", ground, 1.0)
    assert both.word == "worth it"


def test_a_side_that_gains_nothing_is_named():
    ground = mix("side-hill")
    found = judged(comparison(cell(ground[0].obstacle, 50.0, PairTable.sum([GAIN, SAME]), (GAIN, SAME))), "b", ground,
                   10.0)
    assert {name: round(gain.value) for name, gain in found.by_side.items()} == {"uphill left": 60, "uphill right": 0}
    assert found.word == "hangs on uphill right"


def test_unknowns_widen_the_interval_and_may_take_the_word():
    ground = mix("climb")
    there = comparison(cell(ground[0].obstacle, 50.0, GAIN))
    grip = (Prior("grip", 10.0, False, "", 1.0),)
    points = np.linspace(-2.0, 2.0, 12)[:, None]
    spread = Spread.of(grip, points, 40.0 * points[:, 0])
    found = judged(there, "b", ground, 1.0, spread)
    assert found.both is not None
    assert found.both.high - found.both.low > 1.5 * (found.effect.gain.high - found.effect.gain.low)
    assert found.word == "hangs on grip"
    assert judged(there, "b", ground, 1.0).word == "worth it"


def test_ranges_are_those_that_the_levels_stand_for():
    climb, descent = lines(["climb", "descent"], [], YARD)
    found = ranged([Chosen(climb, (50.0, 52.0, 54.0), 52.0, 1.0, ()), Chosen(descent, (), 90.0, 1.0, ())])
    assert found[0].span == (49.0, 55.0)
    assert [line.weight for line in found] == [3.0, 0.0]
    # The mean over the range is that over the levels: of three the truck clears two up to a limit of 53.
    assert found[0].points(np.array([53.0]))[0] == pytest.approx(100.0 * 2.0 / 3.0)
