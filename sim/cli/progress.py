"""Progress of a batch: a live table on a terminal, a quiet line now and then elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich import box
from rich.console import Console, Group
from rich.live import Live
from rich.progress import BarColumn, MofNCompleteColumn, TaskID, TextColumn
from rich.progress import Progress as Bar
from rich.table import Table
from rich.text import Text

from sim.cli.console import console, printable

if TYPE_CHECKING:
    from sim.batch.batch import Progress
    from sim.batch.study import Study

LOG_EVERY_S = 30.0
"""Between lines where there is no terminal."""
MOST_ROWS = 12
"""Trucks in the live table; of more, the first ones."""

Watch = Callable[["Progress"], None]


@contextmanager
def watcher(study: Study | None, *, quiet: bool, words: str = "trials") -> Iterator[Watch]:
    """Something to call with the running progress; shows it on standard error."""
    screen = console(to_stderr=True)
    if quiet:
        yield lambda _: None
    elif screen.is_terminal:
        names = {} if study is None else {truck.hash: truck.name for truck in study.trucks}
        board = _Board(screen, names, words)
        with board.live:
            yield board
    else:
        yield _Lines(screen.print, words)


class _Board:
    """Bar and, below it, what is known of each truck so far."""

    def __init__(self, screen: Console, names: dict[str, str], words: str) -> None:
        columns = (
            TextColumn("{task.description}"),
            BarColumn(bar_width=28),
            MofNCompleteColumn(),
            TextColumn("{task.fields[pace]}"),
        )
        self._names = names
        self._bar = Bar(*columns, console=screen)
        self._number: TaskID = self._bar.add_task(words, total=None, pace="starting workers")
        self.live = Live(self._bar, console=screen, transient=True, refresh_per_second=4)

    def __call__(self, progress: Progress) -> None:
        known = progress.done + progress.known
        self._bar.update(self._number, total=known + progress.left, completed=known, pace=pace(progress))
        self.live.update(Group(self._bar, self._table(progress)))

    def _table(self, progress: Progress) -> Table:
        from sim.statistics.interval import wilson

        table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
        table.add_column("truck", max_width=40, no_wrap=True)
        table.add_column("cleared", justify="right")
        table.add_column("of all so far, 95 %", justify="right")
        for config, (cleared_, valid) in list(progress.by_config.items())[:MOST_ROWS]:
            rate = wilson(cleared_, valid)
            share = f"{100 * rate.share:.0f} % ({100 * rate.low:.0f}-{100 * rate.high:.0f})" if valid else ""
            name = Text(printable(self._names.get(config, config)))
            table.add_row(name, f"{cleared_}/{valid}", share)
        if progress.outcomes["invalid"]:
            table.add_row(Text("INVALID, the solver failed", style="bold red"), str(progress.outcomes["invalid"]), "")
        return table


class _Lines:
    """One line every half minute, and one at the end."""

    def __init__(self, show: Callable[[str], None], words: str) -> None:
        self._show = show
        self._words = words
        self._last = 0.0
        self._text = ""

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now - self._last < LOG_EVERY_S and progress.left:
            return
        known = progress.done + progress.known
        text = f"{known}/{known + progress.left} {self._words}, {pace(progress)}, {cleared(progress)}"
        if text.partition(",")[0] != self._text.partition(",")[0]:
            self._show(text)
        self._last, self._text = now, text


def pace(progress: Progress) -> str:
    """Trials a second and time left; the start of the workers counts for neither."""
    if not progress.pace:
        return "just started"
    return f"{progress.pace:.1f}/s, {duration(progress.seconds_left)} left"


def cleared(progress: Progress) -> str:
    """Success rate so far."""
    valid = sum(progress.outcomes.values()) - progress.outcomes["invalid"]
    return f"{100 * progress.cleared / valid:.0f} % cleared" if valid else ""


def duration(seconds: float) -> str:
    """Seconds as ``1 h 05 min``, ``4 min 10 s`` or ``12 s``."""
    if seconds != seconds:
        return "unknown"
    whole = round(seconds)
    if whole >= 3600:
        return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
    if whole >= 60:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole} s"
