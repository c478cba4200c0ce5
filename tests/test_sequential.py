"""The test that may be looked at after every pair: its error, and the arms that use it."""

from __future__ import annotations

import math
from fractions import Fraction
from functools import partial

import fake_trial
import numpy as np
import pytest
from fake_trial import FakeStudy, FakeTruck
from hypothesis import given
from hypothesis import strategies as st

from sim.batch.adaptive import Arm, ArmSupply, LimitArm, PairsArm, WidthArm, decide
from sim.statistics.e_value import anytime_p, fortune
from sim.statistics.paired import PairTable, verdict
from sim.trial.task import Record, Task, record


@given(st.integers(0, 60), st.integers(0, 60))
def test_fortune_is_the_uniform_mixture(wins: int, losses: int) -> None:
    """Integral of (2p)^wins (2(1-p))^losses over p, in exact fractions."""
    m = wins + losses
    exact = Fraction(2**m, (m + 1) * math.comb(m, wins))
    assert fortune(wins, losses) == pytest.approx(float(exact), rel=1e-9)


@given(st.integers(0, 30), st.integers(0, 30))
def test_fortune_is_a_martingale(wins: int, losses: int) -> None:
    assert 0.5 * (fortune(wins + 1, losses) + fortune(wins, losses + 1)) == pytest.approx(fortune(wins, losses))


def test_hand_example() -> None:
    # Eight wins in a row: 2^8 / 9 = 28.4 reaches 1 / 0.05; seven: 2^7 / 8 = 16 does not
    assert decide(PairTable(0, 8, 0, 0), 0.05, 100) == "better"
    assert decide(PairTable(0, 0, 8, 0), 0.05, 100) == "worse"
    assert decide(PairTable(0, 7, 0, 0), 0.05, 100) == "open"
    assert decide(PairTable(5, 0, 0, 5), 0.05, 7) == "hopeless"
    assert decide(PairTable(5, 0, 0, 5), 0.05, 8) == "open"
    assert anytime_p(0, 0) == 1.0
    assert anytime_p(8, 0) == pytest.approx(9 / 256)


def test_words_of_a_study_that_stopped_when_decided() -> None:
    """Seven wins to none exclude zero for a number fixed beforehand, but not for one that was looked at throughout."""
    table = PairTable(10, 7, 0, 10)
    assert verdict(table).word == "better"
    assert verdict(table, anytime=True).word == "no difference shown"
    assert verdict(table, anytime=True).more > 0
    assert verdict(PairTable(10, 8, 0, 10), anytime=True).word == "better"
    assert verdict(PairTable(10, 0, 8, 10), anytime=True).word == "worse"


def _outcome(cleared: bool) -> Record:
    return Record("cleared" if cleared else "stuck", "", 1, 1, 1, 1, 0, 0, 0, 0, 0, 0)


def _make(config: str, level: float, repeat: int, obstacle: str = "ledge") -> Task:
    return fake_trial.task(config, level, repeat, obstacle=obstacle)


def _drive(arm: Arm, answer, most: int = 10_000) -> int:  # type: ignore[no-untyped-def]
    asked = 0
    while tasks := arm.ask():
        arm.learn([(task, answer(task)) for task in tasks])
        asked += len(tasks)
        assert asked <= most
    return asked


@pytest.mark.slow
def test_whole_procedure_on_identical_trucks() -> None:
    """Ten comparisons of one plan, each looked at every four pairs up to 120: any false call in at most 5 % of plans.

    The trucks are alike but have their own luck, the hardest case; standard error at 1,000 plans is 0.7 points.
    """
    rng = np.random.default_rng(4)
    plans, wrong = 1000, 0
    for _ in range(plans):
        calls = []
        for _level in range(5):
            arm = PairsArm("a", ("b", "c"), 30.0, lambda c, x, r: (c, r), 120, 0.05 / 10)  # type: ignore[arg-type, return-value]
            decisions = _fast(arm, rng)
            calls += [d in ("better", "worse") for d in decisions]
        wrong += any(calls)
    print(f"\nfalse calls in {wrong} of {plans} plans of ten comparisons")
    assert wrong / plans <= 0.05


def _fast(arm: PairsArm, rng: np.random.Generator) -> list[str]:
    """The same rounds and rule as the arm's, on bare counts."""
    cleared = rng.random((3, arm.most)) < rng.uniform(0.2, 0.8)
    found = []
    for other in (1, 2):
        decision = "open"
        for n in range(4, arm.most + 1, 4):
            mine, base = cleared[other, :n], cleared[0, :n]
            counts = [np.sum(mine & base), np.sum(mine & ~base), np.sum(~mine & base), np.sum(~mine & ~base)]
            table = PairTable(*(int(count) for count in counts))
            decision = decide(table, arm.error, arm.most - n)
            if decision != "open":
                break
        found.append(decision)
    return found


def test_false_calls_of_one_comparison() -> None:
    """The same for a single comparison at 5 %, few enough for every run of the tests."""
    rng = np.random.default_rng(9)
    steps = rng.choice([-1, 0, 0, 1], size=(1500, 200))
    wins, losses = np.cumsum(steps == 1, axis=1), np.cumsum(steps == -1, axis=1)
    rich = np.array([[fortune(w, x) >= 20 for x in range(201)] for w in range(201)])
    assert np.mean(rich[wins, losses].any(axis=1)) <= 0.05


def test_pairs_arm_stops_when_decided_and_goes_on_with_the_rest() -> None:
    arm = PairsArm("a", ("b", "c"), 30.0, _make, 200, 0.025)
    rng = np.random.default_rng(1)
    # b always clears where a never does; c is a's twin
    asked = _drive(arm, lambda task: _outcome(task.config == "b" or (task.repeat % 3 == 0 and rng.random() < 2)))
    assert arm.decisions["b"] == "better"
    assert arm.decisions["c"] == "hopeless"
    assert len(arm._cleared["b"]) < 30
    assert len(arm._cleared["c"]) > 150
    assert asked == sum(len(runs) for runs in arm._cleared.values())


def test_width_arm_stops_at_the_width() -> None:
    arm = WidthArm("a", 30.0, _make, 1000, 0.10)
    rng = np.random.default_rng(2)
    _drive(arm, lambda task: _outcome(rng.random() < 0.5))
    # n for half width 0.1 at 50 %: about (1.96 / 0.2)^2 = 96, less 4 by the score interval's shrinking
    assert 88 <= arm.trials <= 100
    never = WidthArm("a", 30.0, _make, 10, 0.0)
    assert _drive(never, lambda task: _outcome(True)) == 10


def test_set_aside_and_invalid_trials_count_as_nothing() -> None:
    arm = WidthArm("a", 30.0, _make, 20, 0.0)
    bad = Record("invalid", "", *[0.0] * 10)  # type: ignore[arg-type]
    assert _drive(arm, lambda task: bad if task.repeat % 2 else None) == 20
    assert arm.trials == 0


def _answers(task: Task) -> Record:
    study = FakeStudy({"a": FakeTruck(30.0, 2.0), "b": FakeTruck(33.0, 2.0)})
    return record(fake_trial.perform(study, task))


def _arms() -> list[Arm]:
    levels = tuple(float(x) for x in range(10, 61))
    return [
        LimitArm("a", levels, _make, 24),
        LimitArm("b", levels, _make, 24),
        PairsArm("a", ("b",), 31.0, partial(_make, obstacle="climb"), 40, 0.05),
        WidthArm("a", 29.0, partial(_make, obstacle="descent"), 40, 0.12),
    ]


@pytest.mark.parametrize("seed", range(4))
def test_what_is_asked_does_not_depend_on_who_is_faster(seed: int) -> None:
    """Answers in any order, any number of them under way: the same tasks."""
    reference = {task for arm in _arms() for task in _everything(arm)}
    supply, rng = ArmSupply(_arms()), np.random.default_rng(seed)
    under_way: list[Task] = []
    asked: set[Task] = set()
    while not supply.finished():
        assert supply.left() > 0
        while len(under_way) < 1 + 3 * seed and (task := supply.next()):
            under_way.append(task)
            asked.add(task)
        done = under_way.pop(int(rng.integers(len(under_way))))
        supply.absorb(done, _answers(done))
    assert asked == reference
    assert supply.left() == 0


def _everything(arm: Arm) -> list[Task]:
    found: list[Task] = []
    while tasks := arm.ask():
        found += tasks
        arm.learn([(task, _answers(task)) for task in tasks])
    return found
