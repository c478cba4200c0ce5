"""Two batches on one store, and answers of workers that no trial can give."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import fake_trial
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.batch import batch
from sim.batch.batch import FixedSupply, StopSwitch
from sim.batch.worker_pool import Answer
from sim.store.store import Store
from sim.trial.task import Report, Task, record

TESTS = Path(__file__).parent
STUDY = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(33.0)})


class Here:
    """An executor that runs everything at once, in this process, and may spoil what it answers."""

    def __init__(self, spoil: object = None) -> None:
        self.spoil = spoil
        self.ran: list[Task] = []
        self._answers: list[Answer] = []

    def free(self) -> int:
        return 2 - len(self._answers)

    def give(self, task: Task) -> None:
        self.ran.append(task)
        report = Report(task, record(fake_trial.perform(STUDY, task)), None, 0.1)
        self._answers.append(self.spoil(report) if callable(self.spoil) else report)

    def collect(self, timeout: float) -> list[Answer]:
        answers, self._answers = self._answers, []
        if not answers:
            time.sleep(0.02)
        return answers

    def close(self) -> None:
        """Nothing to stop."""


def test_a_trial_that_another_batch_is_at_is_not_done_twice(tmp_path: Path) -> None:
    tasks = fake_trial.tasks(3)
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store, Store(path, write=True) as other:
        theirs = batch.Claims(other)
        mine = {task.key(VERSIONS): task for task in tasks[:4]}
        assert theirs.take(list(mine)) == set(mine)
        here = Here()

        def watch(progress: batch.Progress) -> None:
            # Once we have done all that is free, the other batch stores its own.
            if len(here.ran) == len(tasks) - 4:
                other.add([Report(t, record(fake_trial.perform(STUDY, t)), None, 0.1) for t in mine.values()], VERSIONS)

        progress = batch.run(FixedSupply(tasks), store, VERSIONS, here, watch=watch)
        assert (progress.done, progress.known, progress.left) == (len(tasks) - 4, 4, 0)
        assert store.count() == len(tasks)
        assert not set(here.ran) & set(mine.values())
        theirs.close()
        assert not list(store.select("SELECT * FROM claim"))


def test_two_batches_at_once_run_every_trial_once(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    command = [sys.executable, str(TESTS / "fake_batch.py"), str(path), "60", "1"]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=TESTS) for _ in range(2)]
    said = [process.communicate(timeout=120)[0] for process in running]
    done = [int(text.split("reported ")[1].split()[0]) for text in said]
    with Store(path) as store:
        assert store.count() == 240
    assert sum(done) == 240
    assert min(done) > 0


def test_an_answer_that_no_trial_can_give_is_not_stored(tmp_path: Path) -> None:
    def spoil(report: Report) -> Report:
        if report.task.repeat == 1:
            return replace(report, record=replace(report.record, outcome="flew"))  # type: ignore[arg-type]
        if report.task.repeat == 2:
            return replace(report, record=replace(report.record, outcome="cleared", slip=float("nan")))
        if report.task.repeat == 3:
            return replace(report, task=replace(report.task, repeat=99))
        return report

    tasks = fake_trial.tasks(3, ("a",), (30.0,))
    with Store(tmp_path / "s.sqlite", write=True) as store:
        progress = batch.run(FixedSupply(tasks), store, VERSIONS, Here(spoil))
        assert [fault.kind for fault in progress.faults] == ["unfit", "unfit"]
        assert store.count() == 1


def test_an_ignored_signal_stays_ignored() -> None:
    """As nohup leaves it: the end of the terminal does not stop the batch, Ctrl-C still does."""
    before = {number: signal.getsignal(number) for number in (signal.SIGHUP, signal.SIGINT)}
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        switch = StopSwitch()
        with switch.armed():
            os.kill(os.getpid(), signal.SIGHUP)
            time.sleep(0.05)
            assert not switch.asked
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.05)
            assert switch.asked
        assert signal.getsignal(signal.SIGHUP) == signal.SIG_IGN
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
