"""Progress of a batch: a bar on a terminal, a quiet line now and then elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
from rich.progress import Progress as Bar

from sim.cli.console import console

if TYPE_CHECKING:
    from sim.batch import Progress
    from sim.study import Study

LOG_EVERY_S = 30.0
"""Between lines where there is no terminal."""

Watch = Callable[["Progress"], None]


@contextmanager
def watcher(study: Study | None, *, quiet: bool, words: str = "trials") -> Iterator[Watch]:
    """Something to call with the running progress; shows it on standard error."""
    screen = console(to_stderr=True)
    if quiet:
        yield lambda _: None
    elif screen.is_terminal:
        columns = (
            TextColumn("{task.description}"),
            BarColumn(bar_width=28),
            MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}"),
            TextColumn("{task.fields[left]}"),
            TextColumn("{task.fields[cleared]}"),
        )
        with Bar(*columns, console=screen, transient=True, refresh_per_second=4) as bar:
            number = bar.add_task(words, total=None, rate="starting workers", left="", cleared="")
            yield lambda progress: _move(bar, number, progress)
    else:
        yield _Lines(screen.print, words)


def _move(bar: Bar, number: int, progress: Progress) -> None:
    known = progress.done + progress.known
    bar.update(
        number,  # type: ignore[arg-type]
        total=known + progress.left,
        completed=known,
        rate=f"{progress.rate:.1f}/s",
        left=f"{duration(progress.seconds_left)} left",
        cleared=cleared(progress),
    )


class _Lines:
    def __init__(self, show: Callable[[str], None], words: str) -> None:
        self._show = show
        self._words = words
        self._last = 0.0

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now - self._last < LOG_EVERY_S and progress.left:
            return
        self._last = now
        known = progress.done + progress.known
        self._show(
            f"{known}/{known + progress.left} {self._words}, {progress.rate:.1f}/s, "
            f"{duration(progress.seconds_left)} left, {cleared(progress)}"
        )


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
