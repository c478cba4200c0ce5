"""Many trials: give out what is missing, keep what comes back, stop when asked, lose nothing."""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from types import FrameType
from typing import Literal, Protocol

from sim.batch.worker_pool import Answer, Executor, WorkerPool
from sim.errors import SimError
from sim.store.store import Store
from sim.trial.task import Fault, Record, Report, Task, Versions

TRIES = 3
"""How often a task may take a worker down or hang before it is set aside."""
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
    """A known list of tasks, given in order."""

    def __init__(self, tasks: Iterable[Task]) -> None:
        self._waiting = deque(tasks)
        self._out = 0

    def next(self) -> Task | None:
        """The next of the list."""
        if not self._waiting:
            return None
        self._out += 1
        return self._waiting.popleft()

    def absorb(self, task: Task, record: Record | None) -> None:
        """Count it."""
        self._out -= 1

    def finished(self) -> bool:
        """Whether all are given and answered."""
        return not self._waiting and self._out == 0

    def left(self) -> int:
        """Given and unanswered, or not yet given."""
        return len(self._waiting) + self._out


def run(
    supply: Supply,
    store: Store,
    versions: Versions,
    hands: Executor,
    *,
    until: float | None = None,
    watch: Callable[[Progress], None] | None = None,
    stop: StopSwitch | None = None,
) -> Progress:
    """Run a supply of tasks to its end, or until told to stop.

    :param supply: Tasks; those already in the store are not run again.
    :param store: Open for writing. A trial is counted only after it is durable there.
    :param versions: Part of every key.
    :param hands: Who carries them out; closed by the caller.
    :param until: Time (``time.time()``) after which no new trial is waited for.
    :param watch: Called after every change with the running progress.
    :param stop: Switch that ends the batch early, as Ctrl-C does.
    :returns: The final progress; ``ending`` says why it ended.
    :raises SimError: Workers cannot even start.
    :raises StoreError: The store cannot be written; what was reported before is safe.
    """
    progress = Progress(left=supply.left())
    tries: Counter[Task] = Counter()
    again: deque[Task] = deque()
    began = time.monotonic()
    known = store.done()
    while not (supply.finished() and not again):
        if stop is not None and stop.asked:
            progress.ending = "interrupted"
            break
        if until is not None and time.time() >= until:
            progress.ending = "out of time"
            break
        _hand_out(supply, again, known, versions, hands, progress)
        if supply.finished() and not again:
            break
        answers = hands.collect(0.2)
        _keep(answers, supply, store, versions, progress)
        _retry(answers, supply, tries, again, progress)
        _give_up_if_none_start(hands)
        progress.elapsed_s = time.monotonic() - began
        if progress.first is None and progress.done:
            progress.first = progress.done, progress.elapsed_s
        progress.left = supply.left()
        if watch is not None and answers:
            watch(progress)
    _keep(hands.collect(0.0), supply, store, versions, progress)
    progress.left = supply.left()
    progress.elapsed_s = time.monotonic() - began
    if watch is not None:
        watch(progress)
    return progress


def _hand_out(
    supply: Supply,
    again: deque[Task],
    known: dict[str, Record],
    versions: Versions,
    hands: Executor,
    progress: Progress,
) -> None:
    while hands.free() > 0:
        if again:
            hands.give(again.popleft())
            continue
        task = supply.next()
        if task is None:
            return
        found = known.get(task.key(versions))
        if found is None:
            hands.give(task)
        else:
            progress.known += 1
            _count(progress, task.config, found)
            supply.absorb(task, found)


def _keep(answers: list[Answer], supply: Supply, store: Store, versions: Versions, progress: Progress) -> None:
    reports = [answer for answer in answers if isinstance(answer, Report)]
    if not reports:
        return
    store.add(reports, versions)
    for report in reports:
        progress.done += 1
        progress.trial_s += report.wall_s
        _count(progress, report.task.config, report.record)
        supply.absorb(report.task, report.record)


def _retry(
    answers: list[Answer], supply: Supply, tries: Counter[Task], again: deque[Task], progress: Progress
) -> None:
    for fault in answers:
        if not isinstance(fault, Fault):
            continue
        tries[fault.task] += 1
        # The same code raises the same error again; a dead or hung process may have been bad luck.
        if fault.kind != "raised" and tries[fault.task] < TRIES:
            progress.retried += 1
            again.append(fault.task)
        else:
            progress.faults.append(fault)
            supply.absorb(fault.task, None)


def _give_up_if_none_start(hands: Executor) -> None:
    if isinstance(hands, WorkerPool) and hands.failed_starts >= FAILED_STARTS:
        raise SimError(
            "worker processes end before their first trial",
            field="workers",
            remedy="Run one trial with `cragbench drive` to see why",
        )


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
        before = {number: signal.signal(number, self._on_signal) for number in numbers}
        try:
            yield self
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
