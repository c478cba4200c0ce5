"""The same table from a real scheduler with worker processes on the loopback address, one of them killed."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import fake_trial
import psutil
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.batch import batch
from sim.batch.batch import FixedSupply, Progress
from sim.batch.worker import Job
from sim.batch.worker_pool import WorkerPool
from sim.errors import SimError
from sim.store.store import Store
from sim.trial.task import Versions

pytest.importorskip("distributed")
cluster = pytest.importorskip("sim.batch.cluster")

STUDY = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(33.0)}, seconds=0.02, bad=frozenset({3}))
JOB = Job("fake_trial:perform", STUDY, 4096, 0)
HERE = ("--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0")
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


@pytest.fixture(scope="module")
def scheduler() -> Iterator[tuple[str, list[subprocess.Popen[str]]]]:
    """Address of a scheduler, its three worker processes, and last of them its own."""
    with ExitStack() as stack:

        def launch(*arguments: str) -> subprocess.Popen[str]:
            log = subprocess.PIPE if arguments[0].endswith("scheduler") else subprocess.DEVNULL
            process = stack.enter_context(
                subprocess.Popen(
                    [sys.executable, "-m", *arguments],
                    stdout=subprocess.DEVNULL,
                    stderr=log,
                    text=True,
                    env=ENVIRONMENT,
                )
            )
            stack.callback(process.kill)
            return process

        # Port 0: the system picks a free one, and the log says which.
        # Its page of status is named too: left out, or with --no-dashboard, it listens on every interface at 8787.
        main = launch("distributed.cli.dask_scheduler", *HERE, "--port", "0")
        assert main.stderr is not None
        address = ""
        for line in main.stderr:
            if "Scheduler at:" in line:
                address = line.split()[-1]
                break
        common = ("distributed.cli.dask_worker", address, *HERE, "--nthreads", "1", "--no-nanny")
        yield address, [*(launch(*common) for _ in range(3)), main]


def run(path: Path, address: str, tasks: Any, **options: Any) -> Progress:
    hands = cluster.Cluster(address, JOB, VERSIONS, entry="")
    try:
        with Store(path, write=True) as store:
            return batch.run(FixedSupply(tasks), store, VERSIONS, hands, **options)
    finally:
        hands.close()


def table(path: Path) -> list[tuple[Any, ...]]:
    with Store(path) as store:
        return list(store.table())


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the library warns of its own clean-up after a worker was killed
def test_same_table_with_a_worker_killed(tmp_path: Path, scheduler: tuple[str, list[subprocess.Popen[str]]]) -> None:
    address, workers = scheduler
    tasks = fake_trial.tasks(20)
    with Store(tmp_path / "here.sqlite", write=True) as store:
        crew = WorkerPool(JOB, 1)
        try:
            batch.run(FixedSupply(tasks), store, VERSIONS, crew)
        finally:
            crew.close()

    def watch(progress: Progress) -> None:
        if progress.done >= 10 and workers[0].poll() is None:
            workers[0].send_signal(signal.SIGKILL)
            workers[0].wait()

    progress = run(tmp_path / "there.sqlite", address, tasks, watch=watch)
    assert workers[0].poll() is not None
    assert (progress.done, progress.faults) == (80, [])
    assert table(tmp_path / "there.sqlite") == table(tmp_path / "here.sqlite")


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_workers_with_other_physics_are_told_apart(tmp_path: Path, scheduler: Any) -> None:
    """A worker whose sources differ gives no result, but says what to do."""
    hands = cluster.Cluster(scheduler[0], JOB, Versions("not this", "none"), entry="sim.trial.perform")
    try:
        with Store(tmp_path / "s.sqlite", write=True) as store:
            progress = batch.run(FixedSupply(fake_trial.tasks(1)), store, VERSIONS, hands)
    finally:
        hands.close()
    assert progress.done == 0
    assert all("install the same version" in fault.text for fault in progress.faults)


def test_no_scheduler_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 0.5)
    with pytest.raises(SimError, match="no scheduler answers"):
        cluster.Cluster("tcp://127.0.0.1:1", JOB, VERSIONS)


@pytest.mark.parametrize("address", ["nonsense", "127.0.0.1:8786", "tcp://127.0.0.1", "http://127.0.0.1:80", ""])
def test_an_address_is_an_address(address: str) -> None:
    with pytest.raises(SimError, match="not an address"):
        cluster.Cluster(address, JOB, VERSIONS)


def test_tls_needs_certificates(tmp_path: Path) -> None:
    with pytest.raises(SimError, match="needs certificates"):
        cluster.Cluster("tls://127.0.0.1:1", JOB, VERSIONS)


def listening(roots: list[subprocess.Popen[Any]]) -> list[str]:
    """Addresses on which processes and their children listen, as the system's own list has them."""
    family = {one.pid for root in roots for one in psutil.Process(root.pid).children(recursive=True)}
    family |= {root.pid for root in roots}
    found = subprocess.run(["ss", "-Hltnp"], capture_output=True, text=True, check=True).stdout
    return [line.split()[3] for line in found.splitlines() if any(f"pid={pid}," in line for pid in family)]


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("ss") is None, reason="ss is not installed")
def test_the_commands_of_the_readme_listen_on_loopback_alone() -> None:
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    lines = [line.partition("#")[0].split() for line in text.splitlines() if line.startswith("dask ")]
    assert [line[1] for line in lines] == ["scheduler", "worker"]
    with socket.socket() as free:  # another scheduler may be at work on this machine
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    scheduler, worker = ([word.replace("8786", port).replace("8787", "0") for word in line[2:]] for line in lines)
    running = []
    with ExitStack() as stack:
        for module, arguments in (("scheduler", [*scheduler, "--port", port]), ("worker", worker)):
            command = [sys.executable, "-m", f"distributed.cli.dask_{module}", *arguments]
            running.append(stack.enter_context(subprocess.Popen(command, stdout=subprocess.DEVNULL,
                                                                stderr=subprocess.DEVNULL)))  # fmt: skip
            stack.callback(running[-1].terminate)
        deadline = time.monotonic() + 240  # two Python starts beside whatever else runs
        heard: list[str] = []
        # The scheduler, its page, and of each of two workers its keeper, itself and its page.
        while len(heard) < 8 and time.monotonic() < deadline:
            time.sleep(0.2)
            heard = listening(running)
        assert len(heard) >= 8, heard
        assert all(address.startswith(("127.", "[::1]")) for address in heard), heard


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("ss") is None, reason="ss is not installed")
def test_the_cluster_of_these_tests_listens_on_loopback_alone(scheduler: tuple[str, Any]) -> None:
    heard = listening([one for one in scheduler[1] if one.poll() is None])
    assert len(heard) >= 2
    assert all(address.startswith(("127.", "[::1]")) for address in heard), heard


@pytest.mark.slow
def test_a_scheduler_that_dies_during_the_start_gives_one_message(
    monkeypatch: pytest.MonkeyPatch, scheduler: tuple[str, Any]
) -> None:
    def lost(*_: Any, **__: Any) -> None:
        raise OSError("Timed out trying to connect")

    monkeypatch.setattr(cluster._dask.Client, "register_plugin", lost)
    with pytest.raises(SimError, match="the scheduler is gone"):
        cluster.Cluster(scheduler[0], JOB, VERSIONS, entry="")
