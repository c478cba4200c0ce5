"""Searches against made-up trucks whose limits are known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.decision.limit_search import FIRST_STRIDE, NEXT_STRIDE, Case, LimitSearch, Searches, SearchSetting
from sim.decision.obstacle_mix import Line, lines
from sim.decision.unknowns import varied
from sim.errors import SimError
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation

CLIMB = Line("climb", 1.0, None, "deg", 1.0, 0.0, 75.0, 45.0, (20.0, 70.0))
STATED = Line("ledge", 1.0, 30.0, "mm", 1.0, 30.0, 30.0, 30.0, (30.0, 30.0))
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
    found = drive(LimitSearch(CLIMB, start, stride), limit)
    assert found.value == int(limit) + 0.5
    assert not found.beyond
    assert found.trials <= 20


def test_a_good_guess_takes_few_trials():
    """Cleared, failed one stride on, two halvings; two trials where the limit need only be known to a stride."""
    assert drive(LimitSearch(CLIMB, 51.0, NEXT_STRIDE), 51.3).trials == 4
    assert drive(LimitSearch(CLIMB, 51.0, NEXT_STRIDE, NEXT_STRIDE), 51.3).trials == 2


def test_limits_beyond_what_can_be_built_are_told():
    assert drive(LimitSearch(CLIMB, 45.0, FIRST_STRIDE), 99.0).beyond
    assert drive(LimitSearch(CLIMB, 45.0, FIRST_STRIDE), -1.0).beyond


def test_an_invalid_trial_voids_the_search():
    search = LimitSearch(CLIMB, 45.0, FIRST_STRIDE)
    search.learn(45.0, outcome(False, "invalid"))
    assert search.void
    assert search.level() is None


@pytest.mark.parametrize(("limit", "value"), [(35.0, 1.0), (25.0, 0.0)])
def test_a_stated_level_takes_one_trial(limit, value):
    search = drive(LimitSearch(STATED, 30.0, FIRST_STRIDE), limit)
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


def made(repeats=6):
    setting = SearchSetting((CLIMB, STATED), YARD, "steady", 3, Variation())
    searches = Searches(setting, "base")
    searches.ask(["better", "worse"], range(repeats))
    return searches


def test_results_do_not_depend_on_the_order_of_answers():
    first, last = run(made(), lambda n: 0), run(made(), lambda n: n - 1)
    assert {spot: s.value for spot, s in first.found.items()} == {spot: s.value for spot, s in last.found.items()}
    assert {spot: s.trials for spot, s in first.found.items()} == {spot: s.trials for spot, s in last.found.items()}
    assert first.value("better", 0, 2) - first.value("base", 0, 2) == 4.0
    assert first.value("worse", 0, 1) - first.value("base", 0, 1) == -5.0


def test_repeats_after_the_first_three_begin_at_their_median_and_step_by_half_their_range():
    """Shifts are the same in every repeat: one cleared, one failed, a step apart. Luck of -2 to 2 steps by 1 or 2."""
    found = run(made(12), lambda n: 0).found
    assert {s.trials for key, s in found.items() if key.case >= 3 and key.line == 0 and key.truck != "base"} == {2}
    late = [s.trials for key, s in found.items() if key.case >= 3 and key.line == 0 and key.truck == "base"]
    assert max(late) <= 5
    alone = Searches(SearchSetting((CLIMB,), YARD, "steady", 3, Variation()), "base")
    alone.ask(["better"], [7])
    assert run(alone, lambda n: 0).value("better", 0, 7) is not None


def test_all_levels_of_a_repeat_meet_the_same_luck():
    searches, seen = made(), {}
    while not searches.finished():
        task = searches.next()
        seen.setdefault((task.obstacle, task.repeat), set()).add(task.draw.text())
        searches.absorb(task, outcome(task.level <= 50.0))
    assert all(len(draws) == 1 for draws in seen.values())


def test_drawn_cases_begin_at_their_twin_and_are_trucks_of_their_own():
    """Same luck as the twin, another truck hash and driver; two trials where nothing has moved."""
    cases = {100: Case(1, "bump", {"grip": -8.0}, 1), 101: Case(1, "steady", {}, 1)}
    searches = Searches(SearchSetting((CLIMB,), YARD, "steady", 3, Variation(), cases), "base")
    searches.ask(["better"], [0, 1])
    names = {varied(name, {"grip": -8.0}): name for name in LIMITS}
    seen = []

    def answer():
        while not searches.finished():
            task = searches.next()
            seen.append(task)
            searches.absorb(task, outcome(task.level <= LIMITS[names.get(task.config, task.config)]))

    answer()
    before = {task.draw.text() for task in seen if task.repeat == 1}
    seen.clear()
    searches.ask(["better"], [100, 101])
    answer()
    assert {task.draw.text() for task in seen} == before
    drawn = [task for task in seen if task.driver == "bump"]
    assert {task.config for task in drawn} == {varied("base", {"grip": -8.0}), varied("better", {"grip": -8.0})}
    assert len(drawn) == 4
    assert searches.value("better", 0, 100) == pytest.approx(54.5, abs=0.5 * NEXT_STRIDE)


def test_points_are_the_area_under_the_success_curve():
    """Ten limits: the share of (limit, level) pairs cleared on a fine ladder of levels is the mean of the points."""
    limits = np.array([15.0, 22.0, 31.0, 40.0, 41.5, 44.0, 52.0, 60.0, 69.0, 80.0])
    levels = np.linspace(20.0, 70.0, 200_001)
    area = np.mean([np.mean(limits > level) for level in levels[::100]])
    assert CLIMB.points(limits).mean() == pytest.approx(100.0 * area, abs=0.1)
    assert STATED.points(np.array([1.0, 0.0])).tolist() == [100.0, 0.0]
    assert "climb 20 to 70°" in CLIMB.range_text


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
