"""Many trials: give out what is missing, keep what comes back, stop when asked, lose nothing."""

from __future__ import annotations

import contextlib
import math
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import astuple, dataclass, field
from types import FrameType
from typing import Any, Literal, Protocol

from sim.batch.worker_pool import Answer, Executor, WorkerPool
from sim.errors import SimError
from sim.store.claims import Claims
from sim.store.store import Store
from sim.trial.result import OUTCOMES
from sim.trial.task import Fault, Record, Report, Task, Versions

TRIES = 3
"""How often a task may take a worker down or hang before it is set aside."""
LOOK_S = 0.5
"""Between looks at what another batch on the same store has done."""
FAILED_STARTS = 3
"""How often workers may die before their first task."""
Ending = Literal["finished", "interrupted", "out of time"]


class Supply(Protocol):
    """Where tasks come from: a fixed list, or a search that looks at results before it asks for more."""

    def next(self) -> Task | None:
        """The next task, or None while there is none to give (for now, or for good)."""

    def absorb(self, task: Task, record: Record | None) -> None:
        """Learn what a task gave; None if it was set aside."""

    def finished(self) -> bool:
        """Whether nothing is left to give or to wait for."""

    def left(self) -> int:
        """About how many trials are still to come."""


@dataclass
class Progress:
    """Where a batch stands."""

    done: int = 0
    """Trials run and stored by this batch."""
    known: int = 0
    """Trials that were in the store already."""
    left: int = 0
    cleared: int = 0
    by_config: dict[str, list[int]] = field(default_factory=dict)
    """[cleared, valid] trials of each configuration, whatever the obstacle."""
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: list[Fault] = field(default_factory=list)
    """Tasks that were set aside."""
    retried: int = 0
    elapsed_s: float = 0.0
    first: tuple[int, float] | None = None
    """Trials done and seconds gone when the first answers came: until then workers start and compile."""
    trial_s: float = 0.0
    """Computing time of the trials of this batch, all workers together."""
    ending: Ending = "finished"

    @property
    def rate(self) -> float:
        """Trials a second so far."""
        return self.done / self.elapsed_s if self.elapsed_s > 0 else 0.0

    @property
    def pace(self) -> float:
        """Trials a second since the first answers, 0 before."""
        if self.first is None or self.elapsed_s <= self.first[1]:
            return 0.0
        return (self.done - self.first[0]) / (self.elapsed_s - self.first[1])

    @property
    def seconds_left(self) -> float:
        """Expected time to the end, NaN before there is a pace."""
        return self.left / self.pace if self.pace else float("nan")


class FixedSupply:
    """A known list of tasks, given in order; made one by one as they are given, however many there are."""

    def __init__(self, tasks: Iterable[Task], count: int | None = None) -> None:
        """Take tasks; ``count`` says how many there are where they are not at hand yet."""
        listed = list(tasks) if count is None else None
        self._tasks = iter(tasks if listed is None else listed)
        self._left = count if listed is None else len(listed)
        self._out = 0

    def next(self) -> Task | None:
        """The next of the list."""
        task = next(self._tasks, None)
        if task is not None:
            self._out += 1
            self._left = (self._left or 0) - 1
        return task

    def absorb(self, task: Task, record: Record | None) -> None:
        """Count it."""
        self._out -= 1

    def finished(self) -> bool:
        """Whether all are given and answered."""
        return not self._left and self._out == 0

    def left(self) -> int:
        """Given and unanswered, or not yet given."""
        return (self._left or 0) + self._out


def run(
    supply: Supply, store: Store, versions: Versions, executor: Executor, *, until: float | None = None,
    watch: Callable[[Progress], None] | None = None, stop: StopSwitch | None = None,
) -> Progress:
    """Run a supply of tasks to its end, or until told to stop.

    :param supply: Tasks; those already in the store are not run again.
    :param store: Open for writing. A trial is counted only after it is durable there.
    :param versions: Part of every key.
    :param executor: Who carries them out; closed by the caller.
    :param until: Time (``time.time()``) after which no new trial is waited for.
    :param watch: Called after every change with the running progress.
    :param stop: Switch that ends the batch early, as Ctrl-C does.
    :returns: The final progress; ``ending`` says why it ended.
    :raises SimError: Workers cannot even start.
    :raises StoreError: The store cannot be written; what was reported before is safe.
    """
    batch = _Batch(supply, store, versions, executor)
    progress = batch.progress
    began = time.monotonic()
    try:
        while not batch.finished():
            if stop is not None and stop.asked:
                progress.ending = "interrupted"
                break
            if until is not None and time.time() >= until:
                progress.ending = "out of time"
                break
            batch.hand_out()
            if batch.finished():
                break
            answers = executor.collect(0.2)
            batch.keep(answers)
            batch.retry(answers)
            batch.claims.renew()
            _give_up_if_none_start(executor)
            progress.elapsed_s = time.monotonic() - began
            if progress.first is None and progress.done:
                progress.first = progress.done, progress.elapsed_s
            progress.left = supply.left()
            if watch is not None and answers:
                watch(progress)
        batch.keep(executor.collect(0.0))
    finally:
        batch.claims.close()
    progress.left = supply.left()
    progress.elapsed_s = time.monotonic() - began
    if watch is not None:
        watch(progress)
    return progress


class _Batch:
    """What one run knows: what is stored, what is out, what to try again, what another batch is at."""

    def __init__(self, supply: Supply, store: Store, versions: Versions, executor: Executor) -> None:
        self.supply, self.store, self.versions, self.executor = supply, store, versions, executor
        self.progress = Progress(left=supply.left())
        self.claims = Claims(store)
        self._known = store.done()
        self._tries: Counter[Task] = Counter()
        self._again: deque[Task] = deque()
        self._elsewhere: dict[str, Task] = {}
        self._looked = time.monotonic()
        self._out: set[Task] = set()

    def finished(self) -> bool:
        """Whether nothing is left to give, to wait for or to try again."""
        return self.supply.finished() and not self._again

    def hand_out(self) -> None:
        """Give out as many tasks as there is room for."""
        room = self.executor.free()
        while room > 0 and self._again:
            self._give(self._again.popleft())
            room -= 1
        wanted: dict[str, Task] = {}
        while len(wanted) < room and (task := self.supply.next()) is not None:
            key = task.key(self.versions)
            if key in self.store.damaged:
                self._set_aside(task, key)
            elif key in self._known:
                self._found(task, self._known[key])
            else:
                wanted[key] = task
        ours = self.claims.take(list(wanted))
        for key, task in wanted.items():
            if key in ours:
                self._give(task)
            else:
                self._elsewhere[key] = task
        if self._elsewhere and time.monotonic() - self._looked > LOOK_S:
            self._look_elsewhere()

    def _give(self, task: Task) -> None:
        self._out.add(task)
        self.executor.give(task)

    def _look_elsewhere(self) -> None:
        """Take in what another batch has stored meanwhile, and take over what it has given up."""
        self._looked = time.monotonic()
        for key, task in list(self._elsewhere.items()):
            record = self.store.find(key)
            if record is not None:
                del self._elsewhere[key]
                self._found(task, record)
        room = max(self.executor.free(), 0)
        for key in self.claims.take(list(self._elsewhere)[:room]):
            self._give(self._elsewhere.pop(key))

    def _found(self, task: Task, record: Record) -> None:
        self.progress.known += 1
        _count(self.progress, task.config, record)
        self.supply.absorb(task, record)

    def _set_aside(self, task: Task, key: str) -> None:
        text = f"its row in the store {self.store.damaged[key].why}; see cragbench store check {self.store.path}"
        self.progress.faults.append(Fault(task, "damaged", text))
        self.supply.absorb(task, None)

    def keep(self, answers: list[Answer]) -> None:
        """Store finished trials, then count them; what nobody asked for or no trial can give is a fault."""
        reports = []
        for answer in answers:
            if isinstance(answer, Report) and answer.task in self._out:
                why = unfit(answer)
                if why:
                    self._out.discard(answer.task)
                    self.progress.faults.append(Fault(answer.task, "unfit", why))
                    self.supply.absorb(answer.task, None)
                else:
                    reports.append(answer)
        if not reports:
            return
        self.store.add(reports, self.versions)
        self.claims.done([report.task.key(self.versions) for report in reports])
        for report in reports:
            self._out.discard(report.task)
            self.progress.done += 1
            self.progress.trial_s += report.wall_s
            _count(self.progress, report.task.config, report.record)
            self.supply.absorb(report.task, report.record)

    def retry(self, answers: list[Answer]) -> None:
        """Try what crashed or hung again, and set aside what does so every time."""
        for fault in answers:
            if not isinstance(fault, Fault) or fault.task not in self._out:
                continue
            self._out.discard(fault.task)
            self._tries[fault.task] += 1
            # The same code raises the same error again; a dead or hung process may have been bad luck.
            if fault.kind != "raised" and self._tries[fault.task] < TRIES:
                self.progress.retried += 1
                self._again.append(fault.task)
            else:
                self.progress.faults.append(fault)
                self.claims.release([fault.task.key(self.versions)])
                self.supply.absorb(fault.task, None)


def unfit(report: Report) -> str:
    """Why a worker's answer cannot be the result of a trial; nothing if it can."""
    found: Any = report.record
    wall_s: Any = report.wall_s
    if not isinstance(found, Record) or found.outcome not in OUTCOMES or not isinstance(found.reason, str):
        return "a worker answered with no outcome that there is"
    measures: tuple[Any, ...] = astuple(found)[2:]
    if not all(isinstance(value, int | float) for value in measures):
        return "a worker answered with measures that are no numbers"
    if found.outcome != "invalid" and not all(math.isfinite(value) for value in measures):
        return "a worker answered with measures that are not finite"
    return "" if isinstance(wall_s, float) and wall_s >= 0.0 else "a worker answered with no time"


def _give_up_if_none_start(executor: Executor) -> None:
    if isinstance(executor, WorkerPool) and executor.failed_starts >= FAILED_STARTS:
        raise SimError("worker processes end before their first trial", field="workers",
                       remedy="Run one trial with `cragbench drive` to see why")


def _count(progress: Progress, config: str, found: Record) -> None:
    progress.outcomes[found.outcome] += 1
    progress.cleared += found.cleared
    if found.outcome != "invalid":
        counts = progress.by_config.setdefault(config, [0, 0])
        counts[0] += found.cleared
        counts[1] += 1


class StopSwitch:
    """Turns Ctrl-C (and a polite kill) into a request that the batch loop sees."""

    def __init__(self) -> None:
        self.asked = False

    @contextlib.contextmanager
    def armed(self) -> Iterator[StopSwitch]:
        """Listen inside the block; a second Ctrl-C interrupts at once."""
        if threading.current_thread() is not threading.main_thread():
            yield self
            return
        numbers = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
        # One that is ignored already stays so: nohup means that the end of the terminal is none of ours.
        heard = [number for number in numbers if signal.getsignal(number) != signal.SIG_IGN]
        before = {number: signal.signal(number, self._on_signal) for number in heard}
        try:
            yield self
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
