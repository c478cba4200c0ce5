"""Worker processes of this machine, each on a pipe of its own.

Ready-made process pools share one queue between workers: a worker killed while it holds the queue's lock stops
all of them, and a hung one cannot be told from a busy one. With a pipe each, the death of any process at any moment
costs exactly the tasks it held, and the parent knows which they were.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any, Protocol

from sim.batch.worker import READY, RETIRING, Job, Load, work
from sim.trial.task import Fault, Report, Task
from terrain.pool import open_pool

Answer = Report | Fault
STARTUP_S = 300.0
"""Longest start of a worker: its imports."""
COMPILING_S = 480.0
"""Longest compilation in a first trial, on a slow or busy machine: 20 s on an idle one after an installation."""
AHEAD = 2
"""Tasks in a worker's hands: the one it runs and the next, so that it never waits for the parent."""
SLEPT_S = 5.0
"""A parent that does not look at its workers for so long was suspended, or its machine was."""
SAME_GROUND = 4
"""As many when they share a ground: made by one worker, it is ready for the next truck, and no other waits for it."""


class Executor(Protocol):
    """Whoever carries tasks out: processes here, or machines elsewhere."""

    def free(self) -> int:
        """How many more tasks can be given out now."""

    def give(self, task: Task) -> None:
        """Hand out one task."""

    def collect(self, timeout: float) -> list[Answer]:
        """Answers that are there, waiting at most ``timeout`` seconds for the first."""

    def close(self) -> None:
        """Stop at once; what is not yet answered is lost."""


class Reloadable(Executor, Protocol):
    """One that can be given other trucks while nothing is in its hands."""

    def load(self, payload: Any) -> None:
        """Take them."""


class WorkerPool:
    """A fixed number of worker processes that are replaced when they die or hang."""

    def __init__(self, job: Job, workers: int, *, watchdog_s: float = 120.0, startup_s: float = STARTUP_S,
                 compiling_s: float = 0.0) -> None:
        """Start ``workers`` processes; one that takes longer than ``watchdog_s`` over a task is killed.

        :param compiling_s: Further seconds for the first task of a worker, which may have to compile what it calls.
        """
        self._grounds = open_pool()
        self.job = job if self._grounds is None else replace(job, grounds=self._grounds.pool)
        self.watchdog_s = watchdog_s
        self.startup_s, self.compiling_s = startup_s, compiling_s
        self.failed_starts = 0
        self._looked = time.monotonic()
        self._last: tuple[_Member, Ground] | None = None
        self._members = [_Member(self.job) for _ in range(workers)]

    def load(self, payload: Any) -> None:
        """Give every worker, and those that replace it, another payload; nothing may be in their hands."""
        self.job = replace(self.job, payload=payload)
        for member in self._members:
            member.load(payload)

    def free(self) -> int:
        """Room for further tasks."""
        return sum(max(AHEAD - len(member.tasks), 0) for member in self._members)

    def give(self, task: Task) -> None:
        """Hand a task to whom the last one on the same ground went, else to the least busy worker."""
        member = self._at_work_on(_ground(task))
        if member is None:
            member = min(self._members, key=lambda one: len(one.tasks))
        self._last = member, _ground(task)
        member.give(task)

    def _at_work_on(self, ground: Ground) -> _Member | None:
        if self._last is None or self._last[1] != ground:
            return None
        member = self._last[0]
        return member if member in self._members and len(member.tasks) < SAME_GROUND else None

    def collect(self, timeout: float) -> list[Answer]:
        """Answers and faults since the last call; dead and hung workers are replaced."""
        self._allow_for_sleep()
        handles = [handle for member in self._members for handle in (member.connection, member.process.sentinel)]
        wait(handles, timeout)
        self._allow_for_sleep(timeout)
        answers: list[Answer] = []
        for place, member in enumerate(self._members):
            answers += member.answers()
            if member.ready and not self._trouble(member):
                self.failed_starts = 0  # somebody works: the others met bad luck, not a broken installation
            kind = self._trouble(member)
            if kind:
                answers += self._replace(place, kind)
        return answers

    def _allow_for_sleep(self, waited: float = 0.0) -> None:
        """Whoever was suspended itself has no idea how long its workers were at it: that time does not count."""
        now = time.monotonic()
        slept = now - self._looked - waited
        if slept > SLEPT_S:
            for member in self._members:
                member.excuse(slept)
        self._looked = now

    def pids(self) -> list[int]:
        """Process numbers of the present workers."""
        return [member.process.pid for member in self._members if member.process.pid is not None]

    def close(self) -> None:
        """Kill every worker and remove the grounds that they shared."""
        for member in self._members:
            member.kill()
        if self._grounds is not None:
            self._grounds.close()

    def _trouble(self, member: _Member) -> str:
        if not member.process.is_alive():
            return "crashed"
        if member.busy_for() > (self._patience(member) if member.ready else self.startup_s):
            return "hung"
        return ""

    def _patience(self, member: _Member) -> float:
        return self.watchdog_s + (0.0 if member.answered else self.compiling_s)

    def _replace(self, place: int, kind: str) -> list[Answer]:
        member = self._members[place]
        member.kill()
        answers = member.answers()
        if not member.ready:
            self.failed_starts += 1
        code = member.process.exitcode
        self._members[place] = _Member(self.job)
        for position, task in enumerate(member.tasks):
            # Only the first was being run; the others, and those of a worker that retired, just go to another.
            if position == 0 and member.ready and not member.retiring:
                hung = f"no answer in {self._patience(member):g} s"
                text = hung if kind == "hung" else f"worker ended with code {code}"
                answers.append(Fault(task, kind, text))
            else:
                self.give(task)
        return answers


Ground = tuple[str, float, str, float | None, int]


def _ground(task: Task) -> Ground:
    return task.obstacle, task.level, task.yard, task.draw.roughness_mm, task.draw.rock_seed


class _Member:
    """One worker process and what it has in hand."""

    def __init__(self, job: Job) -> None:
        context = multiprocessing.get_context("spawn")
        self.connection, theirs = context.Pipe()
        self.tasks: deque[Task] = deque()
        self.ready = False
        self.answered = False
        self.retiring = False
        self._since = time.monotonic()
        self.process: SpawnProcess = context.Process(target=work, args=(theirs, job), daemon=True)
        with _deaf_to_interrupts(), _one_thread():
            self.process.start()
        theirs.close()

    def give(self, task: Task) -> None:
        if not self.tasks and self.ready:
            self._since = time.monotonic()
        self.tasks.append(task)
        # A dead worker is noticed, and its tasks taken back, at the next collection.
        with contextlib.suppress(OSError):
            self.connection.send(task)

    def load(self, payload: Any) -> None:
        with contextlib.suppress(OSError):
            self.connection.send(Load(payload))

    def answers(self) -> list[Answer]:
        found: list[Answer] = []
        while message := _receive(self.connection):
            self._since = time.monotonic()
            if message == READY:
                self.ready = True
            elif message == RETIRING:
                self.retiring = True
            elif isinstance(message, Report | Fault):
                self.tasks.popleft()
                self.answered = True
                found.append(message)
        return found

    def busy_for(self) -> float:
        """Seconds since it started on what it is doing; 0 when it has nothing to do."""
        return time.monotonic() - self._since if self.tasks or not self.ready else 0.0

    def excuse(self, seconds: float) -> None:
        """Leave some time out of what it took."""
        self._since += seconds

    def kill(self) -> None:
        self.process.kill()
        self.process.join()


def _receive(connection: Connection) -> object | None:
    try:
        return connection.recv() if connection.poll() else None
    except (EOFError, OSError):
        return None


@contextlib.contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Let a child start ignoring interrupts, so that one during its imports prints nothing."""
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not in the main thread
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    """Keep the child's numerical libraries to one thread: the cores are shared out by process."""
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
    missing = [name for name in names if name not in os.environ]
    os.environ.update(dict.fromkeys(missing, "1"))
    try:
        yield
    finally:
        for name in missing:
            del os.environ[name]
