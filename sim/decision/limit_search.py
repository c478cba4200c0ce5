"""The level at which one truck stops clearing an obstacle, luck held fast: the same start, grip and rocks throughout.

One trial is a pure function, so with the luck of a repeat held fast there is a level from which on the truck fails;
it is closed in on by doubling steps and halving. Trucks of one repeat meet the same luck, and the difference of their
limits is free of it. Near the limit a trial is chaotic: one search may be off by a step or two; that scatter is in the
spread over repeats, and so in every interval.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from sim.decision.caution import Exertion
from sim.decision.obstacle_mix import Line
from sim.decision.unknowns import varied
from sim.trial.ground_cache import Yard
from sim.trial.luck import Variation, draw
from sim.trial.task import Record, Task

FIRST_STRIDE, NEXT_STRIDE = 16, 4
"""Steps of the first move away from where a search starts: from the family's usual level, and from a likely limit."""
PILOTS = 3
"""Repeats that tell the others where to begin, and how far to step: half of what they lie apart."""


class LimitSearch:
    """One truck, one line, one case."""

    def __init__(self, line: Line, start: float, stride: int, tolerance: int = 1) -> None:
        """Begin at a level; nothing is known yet. It ends when the limit is known to ``tolerance`` steps."""
        self.line = line
        self._tolerance = tolerance
        self.lowest, self.highest = round(line.low / line.step), round(line.high / line.step)
        self._cleared, self._failed = self.lowest - 1, self.highest + 1
        self._start = min(max(round(start / line.step), self.lowest), self.highest)
        self._stride = stride
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
        return None if self._failed - self._cleared <= self._tolerance else (self._cleared + self._failed) // 2


@dataclass(frozen=True)
class SearchKey:
    """What one search is about."""

    truck: str
    """Content hash."""
    line: int
    case: int


@dataclass(frozen=True)
class Case:
    """What both trucks meet in one comparison: the luck of a repeat, a driver, and values of what is not known."""

    luck: int
    """Number of the repeat that the luck is drawn for."""
    driver: str
    values: Mapping[str, float] = field(default_factory=dict)
    """Of the unknowns, away from the sheet's; see :mod:`sim.decision.unknowns`."""
    twin: int = 0
    """Number of the case whose results tell where to begin to look."""


@dataclass(frozen=True)
class SearchSetting:
    """What all searches of one question share."""

    lines: tuple[Line, ...]
    yard: Yard
    driver: str
    seed: int
    variation: Variation
    cases: Mapping[int, Case] = field(default_factory=dict)
    """By number; a number that is not among them is the repeat of that number with everything as the sheet says."""

    def case(self, number: int) -> Case:
        """The case of that number."""
        return self.cases.get(number) or Case(number, self.driver)


class Searches:
    """Many searches as a supply of trials. Their results do not depend on the order in which trials come back.

    The base truck is looked at first on every line. A search begins where the limit is likely: at that of the same
    truck in the twin case (the first one, or the one of the same luck), moved by what the base truck's own has moved.
    Once :data:`PILOTS` repeats are known, at the median of theirs, of the shift against the base truck for others.
    """

    def __init__(self, setting: SearchSetting, base: str) -> None:
        """Start with nothing asked for; ``base`` is the hash of the truck that the others are compared with."""
        self.setting = setting
        self.base = base
        self.found: dict[SearchKey, LimitSearch] = {}
        self._open: dict[SearchKey, LimitSearch | None] = {}
        self._out: dict[Task, SearchKey] = {}
        self._busy: set[SearchKey] = set()
        self._records: dict[str, list[Record]] = {}

    def ask(self, trucks: Iterable[str], cases: Iterable[int], lines: Sequence[int] | None = None) -> None:
        """Want the limits of trucks on lines (all) in these cases; what is known already stays."""
        wanted = list(dict.fromkeys([self.base, *trucks]))
        which = range(len(self.setting.lines)) if lines is None else lines
        numbers = set(cases)
        for case in sorted(numbers | {self.setting.case(n).twin for n in numbers}):
            for truck in wanted:
                for line in which:
                    # Its start is counted from the truck's own twin case and from the base truck.
                    key = SearchKey(truck, line, case)
                    if key not in self.found:
                        self._open.setdefault(key, None)

    def next(self) -> Task | None:
        """The next trial of any search that is not waiting for an answer."""
        for key in list(self._open):
            if key in self._busy:
                continue
            search = self._begun(key)
            if search is None:
                continue
            level = search.level()
            if level is None:
                self._close(key, search)
                continue
            task = self._task(key, level)
            self._out[task] = key
            self._busy.add(key)
            return task
        return None

    def absorb(self, task: Task, record: Record | None) -> None:
        """Learn what a trial gave."""
        key = self._out.pop(task)
        self._busy.discard(key)
        search = self._open[key]
        assert search is not None
        search.learn(task.level, record)
        if record is not None:
            self._records.setdefault(key.truck, []).append(record)
        if search.level() is None:
            self._close(key, search)

    def exertion(self, truck: str) -> Exertion:
        """How hard motor and servo of a truck worked in all its trials."""
        return Exertion.of(self._records.get(truck, ()))

    def finished(self) -> bool:
        """Whether every search asked for has ended."""
        return not self._open

    def left(self) -> int:
        """About how many trials are to come: three a search."""
        return sum(max(1, (3 if self.setting.lines[key.line].level is None else 1) - (s.trials if s else 0))
                   for key, s in self._open.items())

    def value(self, truck: str, line: int, case: int) -> float | None:
        """Result of one search; None if it has none."""
        search = self.found.get(SearchKey(truck, line, case))
        return None if search is None or search.void else search.value

    def driver(self, case: int) -> str:
        """Who drives in a case."""
        return self.setting.case(case).driver

    @property
    def trials(self) -> int:
        """Trials behind everything found."""
        return sum(search.trials for search in self.found.values())

    @property
    def void(self) -> int:
        """Searches without a result."""
        return sum(search.void for search in self.found.values())

    def _begun(self, key: SearchKey) -> LimitSearch | None:
        search = self._open[key]
        if search is not None:
            return search
        pilots = self._pilots(key)
        before = pilots or self._before(key)
        if any(one not in self.found and one in self._open for one in before):
            return None
        line = self.setting.lines[key.line]
        known = [self.found[one].value for one in before if one in self.found and not self.found[one].void]
        if not before or len(known) < len(before):
            search = LimitSearch(line, line.start, FIRST_STRIDE)
        elif pilots:
            own = np.array(known[:PILOTS]) - (0.0 if key.truck == self.base else np.array(known[PILOTS:-1]))
            likely = float(np.median(own)) + (0.0 if key.truck == self.base else known[-1])
            stride = min(max(round(0.5 * float(np.ptp(own)) / line.step), 1), NEXT_STRIDE)
            search = LimitSearch(line, likely - 0.5 * line.step, stride)
        else:
            likely = known[0] + sum(known[1:2]) - sum(known[2:3])
            # Where values are drawn a coarse limit will do: their spread is far larger. Half of the tolerance down
            # from a limit is the last level that was cleared.
            tolerance = NEXT_STRIDE if self.setting.case(key.case).values else 1
            search = LimitSearch(line, likely - 0.5 * tolerance * line.step, NEXT_STRIDE, tolerance)
        self._open[key] = search
        return search

    def _pilots(self, key: SearchKey) -> tuple[SearchKey, ...]:
        """The truck's own searches in the first repeats; for another than the base truck the base truck's in them,
        and in this case. None for what is no further repeat, or where these were not asked for."""
        case = self.setting.case(key.case)
        if case.values or case.twin or key.case < PILOTS:
            return ()
        wanted = [SearchKey(truck, key.line, n) for truck in dict.fromkeys([key.truck, self.base])
                  for n in range(PILOTS)]
        if key.truck != self.base:
            wanted.append(SearchKey(self.base, key.line, key.case))
        return tuple(wanted) if all(one in self.found or one in self._open for one in wanted) else ()

    def _before(self, key: SearchKey) -> tuple[SearchKey, ...]:
        """The searches whose results this one starts from: first + second - third."""
        twin = self.setting.case(key.case).twin
        first = SearchKey(self.base, key.line, twin)
        if key.truck == self.base:
            return (first,) if key.case != twin else ()
        if key.case == twin:
            return (first,)
        return SearchKey(self.base, key.line, key.case), SearchKey(key.truck, key.line, twin), first

    def _close(self, key: SearchKey, search: LimitSearch) -> None:
        self.found[key] = search
        del self._open[key]

    def _task(self, key: SearchKey, level: float) -> Task:
        setting = self.setting
        line, case = setting.lines[key.line], setting.case(key.case)
        # The luck belongs to the repeat, whatever the level: level 0 stands for all of them.
        luck = draw(setting.variation, setting.seed, line.obstacle, 0.0, case.luck)
        return Task(varied(key.truck, case.values), line.obstacle, level, setting.yard.text(), case.driver,
                    setting.seed, case.luck, luck)
