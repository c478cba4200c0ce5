"""Batches with stand-in trials: complete, resumable, the same for any number of workers, patient with faults."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import fake_trial
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.batch import batch
from sim.batch.batch import FixedSupply, Progress, StopSwitch
from sim.batch.worker import Job
from sim.batch.worker_pool import WorkerPool
from sim.errors import SimError
from sim.store.store import Store
from sim.trial.task import Fault, Report, Task

TRUCKS = {"a": FakeTruck(30.0), "b": FakeTruck(33.0)}


@contextmanager
def crew(study: FakeStudy, workers: int = 2, watchdog_s: float = 60.0) -> Iterator[WorkerPool]:
    hands = WorkerPool(Job("fake_trial:perform", study, 4096, 0), workers, watchdog_s=watchdog_s)
    try:
        yield hands
    finally:
        hands.close()


def run(path: Path, tasks: list[Task], study: FakeStudy | None = None, **options: Any) -> Progress:
    workers, watchdog_s = options.pop("workers", 2), options.pop("watchdog_s", 60.0)
    with crew(study or FakeStudy(TRUCKS), workers, watchdog_s) as hands, Store(path, write=True) as store:
        return batch.run(FixedSupply(tasks), store, VERSIONS, hands, **options)


def table(path: Path) -> list[tuple[Any, ...]]:
    with Store(path) as store:
        return list(store.table())


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Any, ...]]:
    """Forty trials by one worker, in order."""
    path = tmp_path_factory.mktemp("undisturbed") / "s.sqlite"
    run(path, fake_trial.tasks(10), workers=1)
    return table(path)


def test_same_table_for_any_workers_and_order(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    assert len(undisturbed) == 40
    shuffled = fake_trial.tasks(10)
    random.Random(3).shuffle(shuffled)
    progress = run(tmp_path / "s.sqlite", shuffled, workers=3)
    assert table(tmp_path / "s.sqlite") == undisturbed
    assert (progress.done, progress.known, progress.left, progress.ending) == (40, 0, 0, "finished")
    assert sum(progress.outcomes.values()) == 40


def test_second_run_does_only_what_is_missing(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    path = tmp_path / "s.sqlite"
    run(path, fake_trial.tasks(7))
    progress = run(path, fake_trial.tasks(10))
    assert (progress.done, progress.known) == (12, 28)
    assert table(path) == undisturbed
    # Everything there already: no answer is ever waited for
    assert run(path, fake_trial.tasks(10)).done == 0


def test_stop_keeps_what_is_done(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    path = tmp_path / "s.sqlite"
    switch = StopSwitch()

    def watch(progress: Progress) -> None:
        switch.asked = progress.done >= 5

    progress = run(path, fake_trial.tasks(10), FakeStudy(TRUCKS, seconds=0.02), watch=watch, stop=switch)
    assert progress.ending == "interrupted"
    assert 5 <= progress.done < 40
    assert progress.left == 40 - progress.done
    assert len(table(path)) == progress.done
    run(path, fake_trial.tasks(10))
    assert table(path) == undisturbed


def test_time_budget_ends_it(tmp_path: Path) -> None:
    progress = run(tmp_path / "s.sqlite", fake_trial.tasks(10), until=time.time() - 1)
    assert (progress.ending, progress.done) == ("out of time", 0)


def test_crashing_workers_lose_nothing(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    study = FakeStudy(TRUCKS, marks=str(tmp_path), crash=frozenset({2, 5}))
    progress = run(tmp_path / "s.sqlite", fake_trial.tasks(10), study)
    assert progress.retried == 8
    assert progress.faults == []
    assert table(tmp_path / "s.sqlite") == undisturbed


def test_hung_worker_is_killed(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    study = FakeStudy(TRUCKS, marks=str(tmp_path), hang=frozenset({4}))
    tasks = [t for t in fake_trial.tasks(10) if t.config == "a" and t.level == 28.0]
    progress = run(tmp_path / "s.sqlite", tasks, study, watchdog_s=0.3)
    assert progress.retried == 1
    assert len(table(tmp_path / "s.sqlite")) == 10
    assert set(table(tmp_path / "s.sqlite")) <= set(undisturbed)


def test_the_first_task_of_a_worker_may_compile() -> None:
    hands = WorkerPool(Job("fake_trial:perform", FakeStudy(TRUCKS, seconds=0.5), 4096, 0), 1, watchdog_s=0.2,
                       compiling_s=60.0)
    told = []
    try:
        for task in fake_trial.tasks(1)[:2]:
            hands.give(task)
            while not (answers := hands.collect(0.05)):
                pass
            told += answers
    finally:
        hands.close()
    first, second = told
    assert isinstance(first, Report)
    assert isinstance(second, Fault)
    assert second.text == "no answer in 0.2 s"


def test_hopeless_tasks_are_set_aside_and_named(tmp_path: Path) -> None:
    tasks = [fake_trial.task(repeat=r) for r in range(8)]
    study = FakeStudy(TRUCKS, crash=frozenset({1}), broken=frozenset({6}), always=True)
    progress = run(tmp_path / "s.sqlite", tasks, study)
    assert progress.done == 6
    assert {(f.task.repeat, f.kind) for f in progress.faults} == {(1, "crashed"), (6, "raised")}
    assert any("ZeroDivisionError: made to fail" in f.text for f in progress.faults)
    # They are not results: the next run tries them again
    assert run(tmp_path / "s.sqlite", tasks).done == 2


def test_not_finite_is_shouted_about_not_counted(tmp_path: Path) -> None:
    progress = run(tmp_path / "s.sqlite", fake_trial.tasks(4), FakeStudy(TRUCKS, bad=frozenset({2})))
    assert progress.outcomes["invalid"] == 4
    assert progress.cleared == progress.outcomes["cleared"]


def test_workers_killed_at_random(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    path = tmp_path / "s.sqlite"
    killed = 0
    dice = random.Random(8)
    with crew(FakeStudy(TRUCKS, seconds=0.01), 2) as hands, Store(path, write=True) as store:

        def watch(progress: Progress) -> None:
            nonlocal killed
            if dice.random() < 0.2 and killed < 6:
                dice.choice(hands._members).process.kill()
                killed += 1

        progress = batch.run(FixedSupply(fake_trial.tasks(10)), store, VERSIONS, hands, watch=watch)
    assert killed >= 2
    assert progress.faults == []
    assert table(path) == undisturbed


def test_workers_that_cannot_start_end_the_batch(tmp_path: Path) -> None:
    hands = WorkerPool(Job("no_such_module:perform", None, 4096, 0), 1)
    try:
        with Store(tmp_path / "s.sqlite", write=True) as store, pytest.raises(SimError, match="before their first"):
            batch.run(FixedSupply(fake_trial.tasks(1)), store, VERSIONS, hands)
    finally:
        hands.close()


def test_grown_worker_is_replaced(tmp_path: Path, undisturbed: list[tuple[Any, ...]]) -> None:
    """A bound of 1 MB retires a worker after every single trial; nothing is lost by it."""
    hands = WorkerPool(Job("fake_trial:perform", FakeStudy(TRUCKS), 1, 0), 2)
    tasks = fake_trial.tasks(1)
    try:
        with Store(tmp_path / "s.sqlite", write=True) as store:
            progress = batch.run(FixedSupply(tasks), store, VERSIONS, hands)
    finally:
        hands.close()
    assert (progress.done, progress.retried) == (4, 0)
    assert set(table(tmp_path / "s.sqlite")) <= set(undisturbed)


def test_workers_die_with_their_parent(tmp_path: Path) -> None:
    """Kill -9 the parent while its workers are asleep in a trial: no orphan stays."""
    script = (
        "import sys, time\n"
        "import fake_trial\n"
        "from sim.batch.worker_pool import WorkerPool\nfrom sim.batch.worker import Job\n"
        "if __name__ == '__main__':\n"
        "    study = fake_trial.FakeStudy({'a': fake_trial.FakeTruck(30.0)}, seconds=3600)\n"
        "    crew = WorkerPool(Job('fake_trial:perform', study, 4096, 0), 2)\n"
        "    crew.give(fake_trial.task())\n"
        "    while not all(m.ready for m in crew._members): crew.collect(0.1)\n"
        "    print(*crew.pids(), flush=True)\n"
        "    time.sleep(3600)\n"
    )
    (tmp_path / "parent.py").write_text(script)
    environment = {"PYTHONPATH": ":".join(sys.path)}
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "parent.py")], stdout=subprocess.PIPE, text=True, env=environment
    ) as parent:
        assert parent.stdout is not None
        pids = [int(word) for word in parent.stdout.readline().split()]
        parent.kill()
    assert len(pids) == 2
    patience = threading.Event()
    for _ in range(200):
        if not any(_alive(pid) for pid in pids):
            return
        patience.wait(0.05)
    pytest.fail("workers outlived their parent")


def _alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


def test_trials_on_one_ground_go_to_one_worker() -> None:
    """It has the ground at hand; but not without end, and what is left is shared out evenly."""
    with crew(FakeStudy(TRUCKS, seconds=30.0)) as hands:
        held = [member.tasks for member in hands._members]
        for config in ("a", "b"):
            hands.give(fake_trial.task(config, repeat=0))
        assert sorted(len(tasks) for tasks in held) == [0, 2]
        assert hands.free() == 2
        hands.give(fake_trial.task("a", repeat=1))
        assert sorted(len(tasks) for tasks in held) == [1, 2]
        for config in "cdefgh":
            hands.give(fake_trial.task(config, repeat=1))
        assert sorted(len(tasks) for tasks in held) == [4, 5]  # full, and then the least busy one


def test_the_time_left_does_not_count_the_workers_start() -> None:
    """Two trials after 20 s of compiling, 60 more in the next 30 s: two a second, and the rest by that pace."""
    early = Progress(done=2, left=298, elapsed_s=20.0, first=(2, 20.0))
    assert early.pace == 0.0
    assert early.seconds_left != early.seconds_left
    later = Progress(done=62, left=238, elapsed_s=50.0, first=(2, 20.0))
    assert later.pace == pytest.approx(2.0)
    assert later.seconds_left == pytest.approx(119.0)
