"""Batches that are put to sleep, met by a jumping clock, or run out of room: nothing is lost, one message each."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import fake_trial
import psutil
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.batch import worker_pool
from sim.errors import StoreError
from sim.store import claims
from sim.store.claims import Claims
from sim.store.rescue import inspect
from sim.store.store import Store
from sim.trial.task import Report, record

TESTS = Path(__file__).parent
STUDY = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(33.0)})


def report(repeat: int) -> Report:
    task = fake_trial.task("a", repeat=repeat)
    return Report(task, record(fake_trial.perform(STUDY, task)), None, 0.1)


def stored(path: Path) -> int:
    """Trials that are in a store so far."""
    if not path.exists() or not path.stat().st_size:
        return 0
    with Store(path) as store:
        return store.count()


@pytest.mark.slow
def test_a_suspended_batch_goes_on_where_it_was(tmp_path: Path) -> None:
    """Stop signals to parent and workers in turn, and to all at once: every trial is there, once."""
    path = tmp_path / "s.sqlite"
    command = [sys.executable, str(TESTS / "fake_batch.py"), str(path), "150", "2"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=TESTS) as running:
        assert running.stdout is not None
        workers = [int(word) for word in running.stdout.readline().split()]
        while stored(path) < 20:
            time.sleep(0.05)
        for group in ([running.pid], workers[:1], workers, [running.pid, *workers]):
            time.sleep(0.1)
            alive = [pid for pid in group if psutil.pid_exists(pid)]
            for number in (signal.SIGSTOP, signal.SIGCONT):
                for pid in alive:
                    os.kill(pid, number)
                time.sleep(0.2)
        said = running.communicate(timeout=200)[0]
    assert "reported 600 finished" in said
    with Store(path) as store:
        assert (store.count(), len(store.damaged)) == (600, 0)
        assert not list(store.select("SELECT * FROM claim"))


def test_time_spent_asleep_is_no_hang(monkeypatch: pytest.MonkeyPatch) -> None:
    """A parent that slept for an hour does not take its workers for hung: they may have slept as well."""
    clock = [1000.0]
    monkeypatch.setattr(worker_pool.time, "monotonic", lambda: clock[0])
    pool = worker_pool.WorkerPool(worker_pool.Job("fake_trial:perform", STUDY, 4096, 0), 0, watchdog_s=60.0)
    member = worker_pool._Member.__new__(worker_pool._Member)
    member.tasks, member.ready, member._since = worker_pool.deque([fake_trial.task("a")]), True, clock[0]
    pool._members = [member]
    pool._allow_for_sleep()
    clock[0] += 50.0
    assert member.busy_for() == 50.0
    pool._looked = clock[0]
    clock[0] += 3600.0
    pool._allow_for_sleep()
    assert member.busy_for() < 60.0
    clock[0] += 11.0
    pool._looked = clock[0]
    assert member.busy_for() > 60.0
    pool._members = []
    pool.close()


def test_steps_of_the_clock_move_no_claim(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(tmp_path / "s.sqlite", write=True) as store:
        first, second = Claims(store), Claims(store)
        assert first.take(["x"]) == {"x"}
        for repeat, step in enumerate((-1e9, -3600.0, 3600.0, 1e9)):
            monkeypatch.setattr(claims.time, "time", lambda step=step: 1.7e9 + step)
            assert second.take(["x"]) == set()
            store.add([report(repeat)], VERSIONS)
        assert len(store.done()) == 4
        assert not store.damaged


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of one megabyte."""
    place = tmp_path / "small"
    place.mkdir()
    mounted = shutil.which("mount") and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)], capture_output=True, check=False
    )
    if not mounted or mounted.returncode:
        pytest.skip("only root may mount a small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def fill(path: Path) -> tuple[int, str]:
    """Trials that were reported stored until no more could be, and what was said."""
    with Store(path, write=True) as store:
        for number in range(20_000):
            try:
                store.add([report(number * 10 + n) for n in range(10)], VERSIONS)
            except StoreError as error:
                return 10 * number, str(error)
    return -1, ""


def test_a_full_disk_loses_nothing(small_disk: Path) -> None:
    path = small_disk / "s.sqlite"
    kept, said = fill(path)
    assert kept > 0
    assert "full" in said
    assert "Free some space" in said
    found = inspect(path)
    assert (found.trials, found.bad) == (kept, False)


def test_a_limit_on_the_size_of_files_loses_nothing(tmp_path: Path) -> None:
    """As ``ulimit -f`` sets it; the signal that comes with it is ignored by Python."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, before[1]))
    try:
        kept, said = fill(tmp_path / "s.sqlite")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert kept > 0
    assert "Free some space" in said
    assert "ulimit -f" in said
    found = inspect(tmp_path / "s.sqlite")
    assert (found.trials, found.bad) == (kept, False)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A read-only file system, as root writes past permissions; a bind mount makes one."""
    place = tmp_path / "fixed"
    place.mkdir()
    with Store(place / "s.sqlite", write=True) as store:
        store.add([report(1)], VERSIONS)
    bound = subprocess.run(["mount", "--bind", str(place), str(place)], capture_output=True, check=False)
    if bound.returncode:
        pytest.skip("only root may mount")
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
        for name in ("s.sqlite", "new.sqlite"):
            with pytest.raises(StoreError, match="Make the file and its folder writable"):
                Store(place / name, write=True)
        with Store(place / "s.sqlite") as store:
            assert store.count() == 1
    finally:
        subprocess.run(["umount", str(place)], check=True)
