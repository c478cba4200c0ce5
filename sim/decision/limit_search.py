"""The level at which one truck stops clearing an obstacle, luck held fast: the same start, grip and rocks throughout.

One trial is a pure function, so with the luck of a repeat held fast there is a level from which on the truck fails;
it is closed in on by doubling steps and halving. Trucks of one repeat meet the same luck, and the difference of their
limits is free of it. Near the limit a trial is chaotic: one search may be off by a step or two; that scatter is in the
spread over repeats, and so in every interval.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sim.decision.caution import Exertion
from sim.decision.obstacle_mix import Line
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation, draw
from sim.trial.task import Record, Task

FIRST_STRIDE, NEXT_STRIDE = 4, 1
"""Steps of the first move away from where a search starts: from the family's usual level, and from a likely limit."""


class Search:
    """One truck, one line, one repeat."""

    def __init__(self, line: Line, start: float, stride: int) -> None:
        """Begin at a level; nothing is known yet."""
        self.line = line
        self.lowest, self.highest = round(line.low / line.step), round(line.high / line.step)
        self._cleared, self._failed = self.lowest - 1, self.highest + 1
        self._start = min(max(round(start / line.step), self.lowest), self.highest)
        self._stride = stride
        self._tried = 0
        self.trials = 0
        self.void = False
        """A trial was invalid or could not be run: there is no result."""

    def level(self) -> float | None:
        """The level to try next; None when the search is over."""
        if self.void:
            return None
        if self.line.level is not None:
            return self.line.level if self.trials == 0 else None
        index = self._next()
        return None if index is None else index * self.line.step

    def learn(self, level: float, record: Record | None) -> None:
        """Take in the outcome of a trial at a level."""
        self.trials += 1
        if record is None or record.outcome == "invalid":
            self.void = True
            return
        index = round(level / self.line.step) if self.line.level is None else self.lowest
        if record.cleared:
            self._cleared = max(self._cleared, index)
        else:
            self._failed = min(self._failed, index)
        if self.trials > 1 and self._open:
            self._stride *= 2

    @property
    def value(self) -> float:
        """The limit, half a step above the last level cleared; at a stated level 1 or 0 for cleared or not."""
        if self.line.level is not None:
            return 1.0 if self._cleared >= self.lowest else 0.0
        return 0.5 * (self._cleared + self._failed) * self.line.step

    @property
    def beyond(self) -> bool:
        """Whether the limit lies outside of the levels that can be built."""
        return self.line.level is None and (self._failed > self.highest or self._cleared < self.lowest)

    @property
    def _open(self) -> bool:
        return self._cleared < self.lowest or self._failed > self.highest

    def _next(self) -> int | None:
        if self.trials == 0:
            return self._start
        if self._failed > self.highest:
            return None if self._cleared >= self.highest else min(self._cleared + self._stride, self.highest)
        if self._cleared < self.lowest:
            return None if self._failed <= self.lowest else max(self._failed - self._stride, self.lowest)
        return None if self._failed - self._cleared <= 1 else (self._cleared + self._failed) // 2


@dataclass(frozen=True)
class Spot:
    """What one search is about."""

    truck: str
    """Content hash."""
    line: int
    repeat: int


@dataclass(frozen=True)
class Setting:
    """What all searches of one question share."""

    lines: tuple[Line, ...]
    yard: Yard
    driver: str
    seed: int
    variation: Variation


class Searches:
    """Many searches as a supply of trials. Their results do not depend on the order in which trials come back.

    The base truck is looked at first on every line. A search begins where the limit is likely: at that of the same
    truck in repeat 0, moved by what the base truck's own limit has moved since.
    """

    def __init__(self, setting: Setting, base: str) -> None:
        """Start with nothing asked for; ``base`` is the hash of the truck that the others are compared with."""
        self.setting = setting
        self.base = base
        self.found: dict[Spot, Search] = {}
        self._open: dict[Spot, Search | None] = {}
        self._out: dict[Task, Spot] = {}
        self._busy: set[Spot] = set()
        self._records: dict[str, list[Record]] = {}

    def ask(self, trucks: Iterable[str], repeats: Iterable[int], lines: Sequence[int] | None = None) -> None:
        """Want the limits of trucks on lines (all) in these repeats; what is known already stays."""
        wanted = list(dict.fromkeys([self.base, *trucks]))
        which = range(len(self.setting.lines)) if lines is None else lines
        for repeat in sorted({0, *repeats}):
            for truck in wanted:
                for line in which:
                    # Its start is counted from the truck's own repeat 0 and from the base truck.
                    spot = Spot(truck, line, repeat)
                    if spot not in self.found:
                        self._open.setdefault(spot, None)

    def next(self) -> Task | None:
        """The next trial of any search that is not waiting for an answer."""
        for spot in list(self._open):
            if spot in self._busy:
                continue
            search = self._begun(spot)
            if search is None:
                continue
            level = search.level()
            if level is None:
                self._close(spot, search)
                continue
            task = self._task(spot, level)
            self._out[task] = spot
            self._busy.add(spot)
            return task
        return None

    def absorb(self, task: Task, record: Record | None) -> None:
        """Learn what a trial gave."""
        spot = self._out.pop(task)
        self._busy.discard(spot)
        search = self._open[spot]
        assert search is not None
        search.learn(task.level, record)
        if record is not None:
            self._records.setdefault(spot.truck, []).append(record)
        if search.level() is None:
            self._close(spot, search)

    def exertion(self, truck: str) -> Exertion:
        """How hard motor and servo of a truck worked in all its trials."""
        return Exertion.of(self._records.get(truck, ()))

    def finished(self) -> bool:
        """Whether every search asked for has ended."""
        return not self._open

    def left(self) -> int:
        """About how many trials are to come: three a search."""
        return sum(max(1, (3 if self.setting.lines[spot.line].level is None else 1) - (s.trials if s else 0))
                   for spot, s in self._open.items())

    def value(self, truck: str, line: int, repeat: int) -> float | None:
        """Result of one search; None if it has none."""
        search = self.found.get(Spot(truck, line, repeat))
        return None if search is None or search.void else search.value

    @property
    def trials(self) -> int:
        """Trials behind everything found."""
        return sum(search.trials for search in self.found.values())

    @property
    def void(self) -> int:
        """Searches without a result."""
        return sum(search.void for search in self.found.values())

    def _begun(self, spot: Spot) -> Search | None:
        search = self._open[spot]
        if search is not None:
            return search
        before = self._before(spot)
        if any(one not in self.found and one in self._open for one in before):
            return None
        line = self.setting.lines[spot.line]
        known = [self.found[one].value for one in before if one in self.found and not self.found[one].void]
        if not before or len(known) < len(before):
            search = Search(line, line.start, FIRST_STRIDE)
        else:
            # Half a step down from a limit is the last level that was cleared.
            likely = known[0] + sum(known[1:2]) - sum(known[2:3]) - 0.5 * line.step
            search = Search(line, likely, NEXT_STRIDE)
        self._open[spot] = search
        return search

    def _before(self, spot: Spot) -> tuple[Spot, ...]:
        """The searches whose results this one starts from: first + second - third."""
        first = Spot(self.base, spot.line, 0)
        if spot.truck == self.base:
            return (first,) if spot.repeat else ()
        if spot.repeat == 0:
            return (first,)
        return Spot(self.base, spot.line, spot.repeat), Spot(spot.truck, spot.line, 0), first

    def _close(self, spot: Spot, search: Search) -> None:
        self.found[spot] = search
        del self._open[spot]

    def _task(self, spot: Spot, level: float) -> Task:
        setting = self.setting
        line = setting.lines[spot.line]
        # The luck belongs to the repeat, whatever the level: level 0 stands for all of them.
        luck = draw(setting.variation, setting.seed, line.obstacle, 0.0, spot.repeat)
        return Task(spot.truck, line.obstacle, level, setting.yard.text(), setting.driver, setting.seed, spot.repeat,
                    luck)


class Several:
    """Searches of several questions as one supply, so that workers stay busy across them."""

    def __init__(self, parts: Sequence[Searches]) -> None:
        """Put them together; each keeps its own results."""
        self.parts = tuple(parts)
        self._owners: dict[Task, list[Searches]] = {}

    def next(self) -> Task | None:
        """The next trial of the first that has one."""
        for part in self.parts:
            task = None if part.finished() else part.next()
            if task is not None:
                # Two questions may want the very same trial at the same time.
                self._owners.setdefault(task, []).append(part)
                return task
        return None

    def absorb(self, task: Task, record: Record | None) -> None:
        """Pass it on."""
        owners = self._owners[task]
        owners.pop(0).absorb(task, record)
        if not owners:
            del self._owners[task]

    def finished(self) -> bool:
        """Whether all have ended."""
        return all(part.finished() for part in self.parts)

    def left(self) -> int:
        """About how many trials are to come."""
        return sum(part.left() for part in self.parts)
