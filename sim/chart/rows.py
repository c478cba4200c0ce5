"""What the charts with one row per obstacle and one mark per configuration share."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from sim.chart import style
from sim.compare.comparison import CellResult, Comparison, at, places
from sim.compare.sentences import label

WIDTH = 9.6
NAMES, REMARKS, FOOT = 2.55, 1.75, 0.62
"""Inches for the rows' names, the remarks at their ends and the axis below."""


class Rows:
    """A figure with rows already named; :meth:`spots` says where each cell's mark goes."""

    def __init__(self, comparison: Comparison, title: str, subtitle: str, remarks: float = REMARKS) -> None:
        """Lay out the figure, its legend and its rows."""
        self.comparison = comparison
        self.places = places(comparison.cells)
        self.names = names(comparison)
        texts = self._place_names()
        row = max(0.27 * len(self.names) + 0.26, style.tallest(texts) + 0.1)
        keys = [style.key(name, index) for index, name in enumerate(self.names)]
        self.figure = style.figure(WIDTH, 0.75 + row * len(self.places), title, subtitle, keys)
        self.axes: Axes = style.axes(self.figure, NAMES, remarks, FOOT)
        for band in range(1, len(self.places), 2):
            self.axes.axhspan(band - 0.5, band + 0.5, color=style.BAND, lw=0, zorder=0)
        self.axes.set_yticks(range(len(self.places)), texts)
        self.axes.set_ylim(len(self.places) - 0.5, -0.5)

    def spots(self) -> list[tuple[CellResult, float, int]]:
        """(cell, height in the axes, number of its series) of everything to draw."""
        found = []
        for band, where in enumerate(self.places):
            for cell in at(self.comparison.cells, where):
                index = self.names.index(cell.name)
                found.append((cell, band + _spread(index, len(self.names)), index))
        return found

    def remark(self, text: str, y: float, *, strong: bool) -> None:
        """A word at the right end of a row."""
        self.axes.text(1.015, y, text, transform=self.axes.get_yaxis_transform(), va="center", fontsize=style.SMALL,
                       color=style.INK if strong else style.QUIET, weight="bold" if strong else "normal")

    def _place_names(self) -> list[str]:
        several = len({where[2] for where in self.places}) > 1
        cells = [at(self.comparison.cells, where)[0] for where in self.places]
        return style.lines_of(
            (label(cell) + (f", {cell.driver} driver" if several else "") for cell in cells), NAMES - 0.3
        )


def names(comparison: Comparison) -> list[str]:
    """Configurations in the order of their colours, the baseline first."""
    return list(dict.fromkeys([comparison.baseline.name, *(cell.name for cell in comparison.cells)]))


def counted(cells: Sequence[CellResult]) -> str:
    """How many trials stand behind each point."""
    return style.counted([cell.rate.trials for cell in cells])


def _spread(index: int, count: int) -> float:
    return 0.0 if count == 1 else min(0.36, 0.76 / (count - 1)) * (index - 0.5 * (count - 1))
