"""Which trial is shown: the repeat in which trucks came out differently, driven once more with its motion kept."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import made_store
import pytest

from sim.batch.batch import StopSwitch
from sim.batch.plan import Plan
from sim.batch.session import Session
from sim.batch.study import Study, fixed_tasks
from sim.batch.telling import MOST_TRUCKS, telling_tasks
from sim.store.store import Store
from sim.trial.task import Fault, Report, Task

VERSIONS = made_store.VERSIONS


def study(trucks: str, repeats: int, traces: int = 1) -> Study:
    """A plan with trucks of one letter each; the first is the baseline."""
    plan = Plan.model_validate({
        "schema": 1, "name": "made", "repeats": repeats, "traces": traces,
        "obstacle": [{"family": "ledge", "levels": [20.0]}],
        "configuration": [{"name": letter, "build": "none.toml"} for letter in trucks]})
    members: Any = tuple(SimpleNamespace(hash=letter, name=letter) for letter in trucks)
    yard = made_store.yard_of(made_store.truck().model)
    return Study(plan, "", Path("plan.toml"), Path("plan.sqlite"), members, yard)


def report(task: Task, cleared: bool) -> Report:
    record = made_store._record(cleared, 0.5)
    return Report(task, record, made_store.trace(made_store.truck(), 0.1) if task.keep_trace else None, 0.1)


def filled(path: Path, of: Study, outcomes: Mapping[str, str]) -> Store:
    """A store in which each truck cleared (1) or failed (0) repeat after repeat; anything else is not there yet."""
    store = Store(path, write=True)
    tasks = [task for task in fixed_tasks(of) if outcomes[task.config][task.repeat] in "01"]
    store.add([report(task, outcomes[task.config][task.repeat] == "1") for task in tasks], VERSIONS)
    return store


def picked(path: Path, outcomes: Mapping[str, str], traces: int = 1) -> list[tuple[str, int]]:
    of = study("".join(outcomes), len(outcomes["a"]), traces)
    with filled(path, of, outcomes) as store:
        tasks = telling_tasks(of, store, VERSIONS)
    assert all(task.keep_trace for task in tasks)
    return [(task.config, task.repeat) for task in tasks]


@pytest.mark.parametrize(("outcomes", "expected"), [
    # b is better in all: the first repeat in which it cleared and a did not; 0 is recorded by the plan.
    ({"a": "1010", "b": "1111"}, [("a", 1), ("b", 1)]),
    # b lost one and won two: the first of those that go with the sum, not the first that differs.
    ({"a": "0100", "b": "0011"}, [("a", 2), ("b", 2)]),
    # They never differ: nothing to drive again.
    ({"a": "0101", "b": "0101"}, []),
    # Sums are even: any repeat that differs will do, the first does.
    ({"a": "0101", "b": "0110"}, [("a", 2), ("b", 2)]),
    # c does as a did in repeat 1, so that it is not shown; in repeat 2 both differ, which tells more.
    ({"a": "0000", "b": "0110", "c": "0011"}, [("a", 2), ("b", 2), ("c", 2)]),
    # The baseline's trial is missing where they would differ.
    ({"a": "0-00", "b": "01--"}, []),
    # Repeat 0 differs, and is recorded already.
    ({"a": "0000", "b": "1000"}, []),
])
def test_the_telling_repeat_is_chosen(
    tmp_path: Path, outcomes: dict[str, str], expected: list[tuple[str, int]]
) -> None:
    assert picked(tmp_path / "s.sqlite", outcomes) == expected


def test_no_traces_no_telling(tmp_path: Path) -> None:
    assert picked(tmp_path / "s.sqlite", {"a": "0000", "b": "1111"}, traces=0) == []


def test_of_many_trucks_the_baseline_and_the_most_telling(tmp_path: Path) -> None:
    outcomes = {"a": "000"} | {letter: "011" if letter == "h" else "010" for letter in "bcdefgh"}
    found = picked(tmp_path / "s.sqlite", outcomes)
    assert len(found) == MOST_TRUCKS
    assert [config for config, _ in found][:2] == ["a", "h"]


class Hands:
    """Does tasks at once; one of them always fails, and no more than two are taken at a time."""

    def __init__(self, bad: str, switch: StopSwitch | None = None) -> None:
        self.bad, self.switch, self.most = bad, switch, 0
        self.held: list[Task] = []

    def free(self) -> int:
        return 2 - len(self.held)

    def give(self, task: Task) -> None:
        self.held.append(task)
        self.most = max(self.most, len(self.held))

    def collect(self, timeout: float) -> list[Report | Fault]:
        held, self.held = self.held, []
        if self.switch is not None:
            self.switch.asked = True
        return [Fault(task, "crashed", "made to") if task.config == self.bad else report(task, True) for task in held]

    def close(self) -> None:
        pass


def test_recording_keeps_the_motion_and_not_the_count(tmp_path: Path) -> None:
    outcomes = {"a": "000", "b": "011", "c": "010"}
    of = study("abc", 3)
    with filled(tmp_path / "s.sqlite", of, outcomes) as store:
        tasks = telling_tasks(of, store, VERSIONS)
        before, known = store.done(), store.traced()
        hands = Hands(bad="c")
        session = Session(store, VERSIONS, hands, StopSwitch(), None)
        assert session.record(tasks) == 2
        assert hands.most == 2
        assert store.done() == before  # a trial that is there stays as it is
        assert store.traced() - known == {task.key(VERSIONS) for task in tasks if task.config != "c"}
        # What failed to be recorded is asked for again.
        assert [task.config for task in telling_tasks(of, store, VERSIONS)] == ["c"]


def test_recording_stops_when_asked_and_keeps_what_is_out(tmp_path: Path) -> None:
    of = study("abcd", 2)
    with filled(tmp_path / "s.sqlite", of, {"a": "00", "b": "01", "c": "01", "d": "01"}) as store:
        tasks = telling_tasks(of, store, VERSIONS)
        assert len(tasks) == 4
        switch = StopSwitch()
        assert Session(store, VERSIONS, Hands("", switch), switch, None).record(tasks) == 2
        assert Session(store, VERSIONS, Hands(""), StopSwitch(), None).record([]) == 0
