"""Parts of a study that look at results before they ask for more: one question each.

An arm asks in rounds of a fixed size and learns a whole round at a time, in the order in which it asked. What it
asks thus depends on results alone and never on how many workers there are or which of them is faster.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from sim.errors import SimError
from sim.statistics.e_value import fortune
from sim.statistics.interval import wilson
from sim.statistics.paired import PairTable, tabulate
from sim.statistics.threshold import Belief, choose
from sim.trial.task import Record, Task

MakeTask = Callable[[str, float, int], Task]
"""(configuration, level, repeat) -> task at an arm's obstacle."""
Decision = Literal["better", "worse", "open", "hopeless"]
Asked = tuple[Task, Record | None]
ROUND = 4
"""Repeats between looks."""
FEWEST = 12
"""Repeats before a width is trusted."""


class Arm(Protocol):
    """One question of a study."""

    def ask(self) -> list[Task]:
        """Tasks of the next round; empty once the question is answered."""

    def learn(self, answers: Sequence[Asked]) -> None:
        """Take in the round that was asked last, in its order; None where a task was set aside."""

    def left(self) -> int:
        """At most so many trials are not yet asked for."""


def usable(record: Record | None) -> bool:
    """Whether a trial says something about the truck: it was run, and the solver held."""
    return record is not None and record.outcome != "invalid"


def decide(table: PairTable, error: float, pairs_left: int) -> Decision:
    """Whether to go on with a pair of trucks.

    :param table: Pairs so far.
    :param error: Chance of calling a difference between trucks that are alike, over the whole run.
    :param pairs_left: How many more pairs could be run.
    :returns: ``better`` or ``worse`` for the changed truck; ``hopeless`` if not even an unbroken row of wins in the
        pairs left could decide it (stopping then adds no error); else ``open``.
    """
    if not 0 < error < 1:
        raise SimError("the error must lie between 0 and 1", field="error", value=error)
    wins, losses = table.changed_only, table.baseline_only
    if fortune(wins, losses) >= 1.0 / error:
        return "better" if wins > losses else "worse"
    ahead, behind = max(wins, losses), min(wins, losses)
    if fortune(ahead + pairs_left, behind) < 1.0 / error:
        return "hopeless"
    return "open"


@dataclass
class WidthArm:
    """Repeat one truck at one level until its success rate is known well enough."""

    config: str
    level: float
    make: MakeTask
    most: int
    half_width: float
    """Share; half of the 95 % interval's length."""
    asked: int = 0
    successes: int = 0
    trials: int = 0

    def ask(self) -> list[Task]:
        """The next few repeats."""
        if self._narrow():
            return []
        first, self.asked = self.asked, min(self.asked + ROUND, self.most)
        return [self.make(self.config, self.level, repeat) for repeat in range(first, self.asked)]

    def learn(self, answers: Sequence[Asked]) -> None:
        """Count successes."""
        for _, record in answers:
            if record is not None and usable(record):
                self.trials += 1
                self.successes += record.cleared

    def left(self) -> int:
        """Repeats up to the most allowed."""
        return 0 if self._narrow() else self.most - self.asked

    def _narrow(self) -> bool:
        rate = wilson(self.successes, self.trials)
        return self.trials >= FEWEST and 0.5 * (rate.high - rate.low) <= self.half_width


@dataclass
class PairsArm:
    """Repeat the baseline and the trucks compared with it at one level until each pair is decided."""

    baseline: str
    others: tuple[str, ...]
    level: float
    make: MakeTask
    most: int
    error: float
    """Of each single pair."""
    asked: int = 0
    decisions: dict[str, Decision] = field(default_factory=dict)
    _cleared: dict[str, dict[int, bool]] = field(default_factory=dict)

    def ask(self) -> list[Task]:
        """The next few repeats of the baseline and of every truck whose pair is open."""
        undecided = self._undecided()
        if not undecided:
            return []
        first, self.asked = self.asked, min(self.asked + ROUND, self.most)
        trucks = (self.baseline, *undecided)
        return [self.make(truck, self.level, repeat) for repeat in range(first, self.asked) for truck in trucks]

    def learn(self, answers: Sequence[Asked]) -> None:
        """Update the pairs and decide them."""
        for task, record in answers:
            if record is not None and usable(record):
                self._cleared.setdefault(task.config, {})[task.repeat] = record.cleared
        for other in {task.config for task, _ in answers} - {self.baseline}:
            self.decisions[other] = decide(self.table(other), self.error, self.most - self.asked)

    def left(self) -> int:
        """Repeats of all open pairs up to the most allowed."""
        undecided = len(self._undecided())
        return (self.most - self.asked) * (undecided + 1) if undecided else 0

    def _undecided(self) -> list[str]:
        return [other for other in self.others if self.decisions.get(other, "open") == "open"]

    def table(self, other: str) -> PairTable:
        """Pairs of one truck with the baseline."""
        mine, theirs = self._cleared.get(other, {}), self._cleared.get(self.baseline, {})
        return tabulate((cleared, theirs[repeat]) for repeat, cleared in mine.items() if repeat in theirs)


@dataclass
class LimitArm:
    """Search the level that one truck clears half of the time and nine times in ten."""

    config: str
    levels: tuple[float, ...]
    """That may be tried, from easy to hard."""
    make: MakeTask
    trials: int
    at_once: int = 2
    asked: int = 0
    belief: Belief = field(init=False)
    _visits: Counter[float] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.belief = Belief.start(self.levels[0], self.levels[-1])

    def ask(self) -> list[Task]:
        """The levels from which most is to be learned now."""
        count = min(self.at_once, self.trials - self.asked)
        tasks = []
        for level in choose(self.belief, self.levels, count) if count > 0 else ():
            tasks.append(self.make(self.config, level, self._visits[level]))
            self._visits[level] += 1
        self.asked += len(tasks)
        return tasks

    def learn(self, answers: Sequence[Asked]) -> None:
        """Update the belief."""
        for task, record in answers:
            if record is not None and usable(record):
                self.belief = self.belief.after(task.level, record.cleared)

    def left(self) -> int:
        """Trials not yet asked for."""
        return self.trials - self.asked


class ArmSupply:
    """Tasks of many arms, taken from them in turn; a :class:`sim.batch.batch.Supply`."""

    def __init__(self, arms: Sequence[Arm]) -> None:
        """Ask every arm for its first round."""
        self.arms = tuple(arms)
        self._rounds = [_Round([]) for _ in self.arms]
        self._turn = 0
        self._place: dict[Task, int] = {}
        for index in range(len(self.arms)):
            self._ask(index)

    def next(self) -> Task | None:
        """The next task of the next arm that has one."""
        for step in range(len(self.arms)):
            index = (self._turn + step) % len(self.arms)
            round_ = self._rounds[index]
            if round_.given < len(round_.tasks):
                task = round_.tasks[round_.given]
                round_.given += 1
                self._place[task] = index
                self._turn = index + 1
                return task
        return None

    def absorb(self, task: Task, record: Record | None) -> None:
        """Keep an answer; at the end of a round its arm learns and asks again."""
        index = self._place.pop(task)
        round_ = self._rounds[index]
        round_.answers[task] = record
        if len(round_.answers) == len(round_.tasks):
            self.arms[index].learn([(asked, round_.answers[asked]) for asked in round_.tasks])
            self._ask(index)

    def finished(self) -> bool:
        """Whether no arm asks for more."""
        return not any(round_.tasks for round_ in self._rounds)

    def left(self) -> int:
        """Unanswered, and what the arms may yet ask for."""
        unanswered = sum(len(round_.tasks) - len(round_.answers) for round_ in self._rounds)
        return unanswered + sum(arm.left() for arm in self.arms)

    def _ask(self, index: int) -> None:
        self._rounds[index] = _Round(self.arms[index].ask())


@dataclass
class _Round:
    tasks: list[Task]
    given: int = 0
    answers: dict[Task, Record | None] = field(default_factory=dict)
