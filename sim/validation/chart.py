"""One picture of all checks: how much of its tolerance each one uses."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sim.chart import style
from sim.chart.style import Axes
from sim.validation import report
from sim.validation.check import Check, Result

WIDTH = 11.0
ROW = 0.235
LEAST, MOST = 1.0e-4, 10.0
MARKS = {"pass": "o", "fail": "X", "broken": "X", "not run": "s"}


def draw(rows: Sequence[tuple[Check, Result]], path: Path) -> Path:
    """Draw every check as error over tolerance and write a PNG; returns its path.

    :raises SimError: The file cannot be written.
    """
    results = [result for _, result in rows]
    lines = _lines(rows)
    subtitle = (
        "Error over tolerance, left is better; one-sided bounds without a scale of their own stand in the margin. "
        f"Computed with {', '.join(report.installed()[:4])}."
    )
    figure = style.figure(WIDTH, 0.7 + ROW * len(lines), report.summary(results), subtitle)
    axes = style.axes(figure, 0.27 * WIDTH, 0.3 * WIDTH, 0.55, 0.0)
    axes.set_xscale("log")
    axes.set_xlim(LEAST / 4.0, MOST * 1.6)
    axes.set_ylim(len(lines) - 0.4, -0.6)
    axes.set_yticks([])
    ticks = [1.0e-4, 1.0e-3, 1.0e-2, 0.1, 1.0, 10.0]
    axes.set_xticks(ticks, labels=[f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.set_xlabel("error / tolerance")
    axes.axvline(1.0, color=style.FAILED, lw=1.2)
    for y, line in enumerate(lines):
        if isinstance(line, str):
            axes.text(-0.6, y, line, transform=axes.get_yaxis_transform(), weight="bold", va="center", fontsize=10)
        else:
            _row(axes, y, *line)
    target = path.with_suffix("") if path.suffix else path
    return style.save(figure, target, formats=("png",))[0]


def _lines(rows: Sequence[tuple[Check, Result]]) -> list[str | tuple[Check, Result]]:
    lines: list[str | tuple[Check, Result]] = []
    for title, some in report.by_group(rows):
        lines += [title, *some]
    return lines


def _row(axes: Axes, y: int, check: Check, result: Result) -> None:
    colour = {"pass": style.colour(2), "not run": style.QUIET}.get(result.state, style.FAILED)
    across = axes.get_yaxis_transform()
    axes.text(-0.02, y, check.name, transform=across, ha="right", va="center", fontsize=8.5)
    words = f"{report.expected(check, result)}  →  {report.got(result)}  {check.unit}"
    axes.text(1.02, y, words, transform=across, va="center", fontsize=8, color=style.QUIET)
    allowed = check.tolerance.value
    if result.state in ("pass", "fail") and allowed > 0.0:
        x = min(max(result.error / allowed, LEAST), MOST)
        axes.plot([LEAST / 4.0, x], [y, y], color=style.GRID, lw=1.0, zorder=1)
        axes.plot(x, y, MARKS[result.state], color=colour, ms=6, zorder=3)
    else:
        axes.plot(LEAST / 2.6, y, MARKS[result.state], color=colour, ms=6, mfc="white", mew=1.5, zorder=3)
