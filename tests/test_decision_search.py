"""Searches against made-up trucks whose limits are known."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.decision.limit_search import FIRST_STRIDE, NEXT_STRIDE, Search, Searches, Setting, Several
from sim.decision.obstacle_mix import Line, lines
from sim.errors import SimError
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation

CLIMB = Line("climb", 1.0, None, "deg", 1.0, 0.0, 75.0, 45.0)
STATED = Line("ledge", 1.0, 30.0, "mm", 1.0, 30.0, 30.0, 30.0)
YARD = Yard(134.0, 27.0, 24.0)


def outcome(cleared, word=None):
    return SimpleNamespace(cleared=cleared, outcome=word or ("cleared" if cleared else "stuck"))


def drive(search, limit):
    while (level := search.level()) is not None:
        search.learn(level, outcome(level <= limit))
    return search


@given(limit=st.floats(0.0, 74.99), start=st.floats(-10, 90), stride=st.sampled_from([FIRST_STRIDE, NEXT_STRIDE]))
@settings(max_examples=300, deadline=None)
def test_the_limit_is_found_from_anywhere(limit, start, stride):
    found = drive(Search(CLIMB, start, stride), limit)
    assert found.value == int(limit) + 0.5
    assert not found.beyond
    assert found.trials <= 16


def test_a_good_guess_takes_two_trials():
    assert drive(Search(CLIMB, 51.0, NEXT_STRIDE), 51.3).trials == 2


def test_limits_beyond_what_can_be_built_are_told():
    assert drive(Search(CLIMB, 45.0, FIRST_STRIDE), 99.0).beyond
    assert drive(Search(CLIMB, 45.0, FIRST_STRIDE), -1.0).beyond


def test_an_invalid_trial_voids_the_search():
    search = Search(CLIMB, 45.0, FIRST_STRIDE)
    search.learn(45.0, outcome(False, "invalid"))
    assert search.void
    assert search.level() is None


@pytest.mark.parametrize(("limit", "value"), [(35.0, 1.0), (25.0, 0.0)])
def test_a_stated_level_takes_one_trial(limit, value):
    search = drive(Search(STATED, 30.0, FIRST_STRIDE), limit)
    assert (search.trials, search.value) == (1, value)


LIMITS = {"base": 50.0, "better": 54.0, "worse": 45.0}


def run(searches, order):
    """Carry out a supply, answering in an order of choice."""
    waiting = []
    while not searches.finished():
        while (task := searches.next()) is not None:
            waiting.append(task)
        task = waiting.pop(order(len(waiting)))
        luck = (task.repeat * 7919 + hash(task.obstacle) % 1) % 5 - 2  # the same for every truck
        searches.absorb(task, outcome(task.level <= LIMITS[task.config] + luck))
    return searches


def made():
    setting = Setting((CLIMB, STATED), YARD, "steady", 3, Variation())
    searches = Searches(setting, "base")
    searches.ask(["better", "worse"], range(4))
    return searches


def test_results_do_not_depend_on_the_order_of_answers():
    first, last = run(made(), lambda n: 0), run(made(), lambda n: n - 1)
    assert {spot: s.value for spot, s in first.found.items()} == {spot: s.value for spot, s in last.found.items()}
    assert {spot: s.trials for spot, s in first.found.items()} == {spot: s.trials for spot, s in last.found.items()}
    assert first.value("better", 0, 2) - first.value("base", 0, 2) == 4.0
    assert first.value("worse", 0, 1) - first.value("base", 0, 1) == -5.0


def test_all_levels_of_a_repeat_meet_the_same_luck():
    searches, seen = made(), {}
    while not searches.finished():
        task = searches.next()
        seen.setdefault((task.obstacle, task.repeat), set()).add(task.draw.text())
        searches.absorb(task, outcome(task.level <= 50.0))
    assert all(len(draws) == 1 for draws in seen.values())


def test_several_supplies_run_as_one():
    both = Several([made(), made()])
    run(both, lambda n: 0)
    assert both.finished()
    assert both.left() == 0


def test_lines_carry_weights_and_parameters():
    found = lines(["climb=2", "ledge-on-slope,slope=20", "ledge-on-slope,slope=10=3"], (), YARD)
    assert [line.weight for line in found] == [2.0, 1.0, 3.0]
    assert found[1].obstacle != found[2].obstacle
    assert lines((), ("ledge:30", "descent:45"), YARD)[1].level == 45.0
    assert [line.obstacle.partition(",")[0] for line in lines((), (), YARD)] == [
        "climb", "ledge-on-slope", "side-hill", "descent"]


@pytest.mark.parametrize(
    ("wanted", "course", "told"),
    [(["climb=0"], [], "above zero"), (["climb=much"], [], "not a number"), (["climb:40"], [], "--course"),
     (["climb"], ["climb:40"], "either"), (["climb", "climb=2"], [], "twice")],
)
def test_faults_of_lines_are_told(wanted, course, told):
    with pytest.raises(SimError, match=told):
        lines(wanted, course, YARD)
