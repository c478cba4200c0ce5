"""Pulling the plug: kills, full disks, interrupts; after each, resuming gives the table of an undisturbed run."""

from __future__ import annotations

import contextlib
import os
import random
import resource
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import fake_batch
import pytest

from sim.store.store import Store

Rows = list[tuple[Any, ...]]
PROGRAM = Path(fake_batch.__file__)
KILLS = int(os.environ.get("CRAGBENCH_KILLS", "6"))
"""Of parents, and as many of workers; ``docs/faults.md`` counts a run with more."""


def start(path: Path, repeats: int, workers: int = 2, **options: Any) -> subprocess.Popen[str]:
    """The batch as a process of its own, in a group of its own."""
    return subprocess.Popen(
        [sys.executable, str(PROGRAM), str(path), str(repeats), str(workers)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,
        **options,
    )


def finish(path: Path, repeats: int, workers: int = 2) -> None:
    with start(path, repeats, workers) as process:
        out, err = process.communicate(timeout=240)
    assert process.returncode == 0, err
    assert "finished" in out


def table(path: Path) -> Rows:
    with Store(path) as store:
        return list(store.table())


def faults_and_table(path: Path, repeats: int, kills: int, seed: int) -> tuple[int, int]:
    """Run with ``kills`` kills at random moments of parent or worker, resuming each time; (parents, workers) killed."""
    dice = random.Random(seed)
    parents = workers = 0
    pause = threading.Event()
    while parents + workers < kills:
        with start(path, repeats) as process:
            assert process.stdout is not None
            pids = [int(word) for word in process.stdout.readline().split()]
            while process.poll() is None and parents + workers < kills:
                pause.wait(dice.uniform(0.0, 0.4))
                with contextlib.suppress(ProcessLookupError):
                    if pids and dice.random() < 0.5:
                        os.kill(pids.pop(), signal.SIGKILL)
                        workers += 1
                    else:
                        process.kill()
                        parents += 1
                        break
            process.kill()
        known = table(path) if path.exists() and path.stat().st_size else []
        assert len({row[0] for row in known}) == len(known)
    return parents, workers


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Rows:
    path = tmp_path_factory.mktemp("whole") / "s.sqlite"
    finish(path, 100, workers=1)
    return table(path)


def test_a_few_kills(tmp_path: Path, undisturbed: Rows) -> None:
    path = tmp_path / "s.sqlite"
    faults_and_table(path, 100, 3, seed=1)
    finish(path, 100)
    assert table(path) == undisturbed


@pytest.mark.slow
def test_many_kills(tmp_path: Path, undisturbed: Rows, record_property: Any) -> None:
    """At least so many ``kill -9`` of parents, and so many of workers, over as many studies as it takes."""
    parents = workers = lost = doubled = 0
    for study in range(1 + KILLS):
        path = tmp_path / f"{study}.sqlite"
        p, w = faults_and_table(path, 100, 5, seed=100 + study)
        parents, workers = parents + p, workers + w
        finish(path, 100)
        rows = table(path)
        lost += len(set(undisturbed) - set(rows))
        doubled += len(rows) - len({row[0] for row in rows})
        assert rows == undisturbed
        if min(parents, workers) >= KILLS:
            break
    for name, value in {"parents": parents, "workers": workers, "lost": lost, "doubled": doubled}.items():
        record_property(name, value)
    trials = (study + 1) * len(undisturbed)
    print(f"\nkilled {parents} parents and {workers} workers; of {trials} trials lost {lost}, doubled {doubled}")
    assert min(parents, workers) >= KILLS


@pytest.mark.slow
def test_a_search_interrupted_ten_times(tmp_path: Path) -> None:
    """What a limit search asks for depends on results: ten interrupts at random moments leave the same table."""
    finish(tmp_path / "whole.sqlite", 0, workers=1)
    dice, pause = random.Random(5), threading.Event()
    for _ in range(10):
        with start(tmp_path / "s.sqlite", 0) as process:
            assert process.stdout is not None
            process.stdout.readline()
            pause.wait(dice.uniform(0.5, 1.5))
            os.killpg(process.pid, signal.SIGINT)
            _, err = process.communicate(timeout=60)
        assert "Traceback" not in err
    finish(tmp_path / "s.sqlite", 0)
    assert table(tmp_path / "s.sqlite") == table(tmp_path / "whole.sqlite")


def test_full_disk(tmp_path: Path, undisturbed: Rows) -> None:
    """The file may not grow beyond 60 kB: a clear message, what was stored is whole, and a later run completes it."""
    path = tmp_path / "s.sqlite"

    def bound() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))

    with start(path, 100, preexec_fn=bound) as process:
        _, err = process.communicate(timeout=120)
    assert process.returncode != 0
    assert "StoreError" in err
    assert "finished trials are kept" in err
    kept = table(path)
    assert 0 < len(kept) < len(undisturbed)
    assert set(kept) <= set(undisturbed)
    finish(path, 100)
    assert table(path) == undisturbed


def test_two_batches_on_one_store(tmp_path: Path, undisturbed: Rows) -> None:
    path = tmp_path / "s.sqlite"
    with start(path, 100, 1) as one, start(path, 100, 1) as other:
        for process in (one, other):
            _, err = process.communicate(timeout=240)
            assert process.returncode == 0, err
    assert table(path) == undisturbed
