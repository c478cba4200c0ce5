"""The life of one worker process: take a task, run it, answer, until told to stop or left alone."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from typing import Any

from sim.errors import SimError
from sim.trial.result import TrialResult
from sim.trial.task import Fault, Report, Task, record
from terrain import pool
from terrain.pool import GroundPool

Perform = Callable[[Any, Task], TrialResult]
"""(payload, task) -> result: :func:`sim.trial.perform.perform`, or a stand-in of the same form."""


@dataclass(frozen=True)
class Job:
    """What every worker is told once."""

    perform: str
    """Importable callable as ``module:attribute``."""
    payload: Any
    """First argument of every call; must pickle."""
    memory_mb: int
    """A worker that has grown beyond this is replaced after its task."""
    niceness: int
    grounds: GroundPool | None = None
    """Where the processes of this machine share their grounds; set by the pool that starts them."""


@dataclass(frozen=True)
class Load:
    """A new payload for a worker, between tasks."""

    payload: Any


READY = "ready"
"""First message of a worker: imports are done, tasks may come."""
LAST_WORDS_S = 5.0
"""Longest wait, when the parent has gone, for what is left to be cleared up."""
RETIRING = "retiring"
"""Last message of a worker that has grown too large."""


def resolve(name: str) -> Perform:
    """Import ``module:attribute``."""
    module, _, attribute = name.partition(":")
    try:
        found: Perform = getattr(import_module(module), attribute)
    except (ImportError, AttributeError) as error:
        raise SimError("cannot be imported", field="perform", value=name, remedy=str(error)) from error
    return found


def carry_out(perform: Perform, payload: Any, task: Task) -> Report | Fault:
    """Run one task; an exception becomes a fault that names it."""
    began = time.perf_counter()
    try:
        result = perform(payload, task)
        return Report(task, record(result), result.trace, time.perf_counter() - began)
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{os.path.basename(where.filename)}:{where.lineno}"
        return Fault(task, "raised", f"{type(error).__name__}: {error} ({place})")


def work(connection: Connection, job: Job) -> None:
    """Serve tasks from ``connection`` until it closes. The entry point of a worker process."""
    watcher = follow_parent(job.grounds)
    _be_nice(job.niceness)
    pool.join(job.grounds)
    perform, payload = resolve(job.perform), job.payload
    try:
        connection.send(READY)
        while True:
            task = connection.recv()
            if task is None:
                return
            if isinstance(task, Load):
                payload = task.payload
                continue
            connection.send(carry_out(perform, payload, task))
            if _own_mb() > job.memory_mb:
                connection.send(RETIRING)
                return
    except (EOFError, BrokenPipeError, ConnectionResetError):
        if watcher is not None:
            watcher.join(LAST_WORDS_S)  # it ends this process when it has cleared up


def follow_parent(grounds: GroundPool | None = None) -> threading.Thread | None:
    """Leave it to the parent when to stop; end when it ends, however that does, and clear up the grounds it shared."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole process group
    parent = parent_process()
    if parent is None:
        return None

    def watch() -> None:
        wait([parent.sentinel])
        if grounds is not None:
            pool.clear_up(grounds)  # whoever would have removed them was killed
        os._exit(1)

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    return watcher


def _be_nice(niceness: int) -> None:
    if niceness and hasattr(os, "nice"):
        os.nice(niceness)


def _own_mb() -> float:
    """Memory that this process alone keeps from others, as grounds and libraries are shared; 0 if nobody tells."""
    if sys.platform != "linux":
        return 0.0
    with open("/proc/self/statm", encoding="ascii") as file:
        _, resident, common, *_ = (int(pages) for pages in file.read().split())
    return (resident - common) * os.sysconf("SC_PAGE_SIZE") / 2**20
