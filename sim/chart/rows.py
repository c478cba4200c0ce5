"""What the charts with one row per obstacle and one mark per configuration share."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from sim.chart import style
from sim.compare.comparison import CellResult, Comparison, at, places
from sim.compare.sentences import label

LONGEST_NAME = 34
WIDTH = 9.6
LEFT, RIGHT = 0.27, 0.85
FOOT = 0.62


class Rows:
    """A figure with rows already named; :meth:`spots` says where each cell's mark goes."""

    def __init__(self, comparison: Comparison, title: str, subtitle: str) -> None:
        """Lay out the figure, its legend and its rows."""
        self.comparison = comparison
        self.places = places(comparison.cells)
        self.names = list(dict.fromkeys([comparison.baseline.name, *(cell.name for cell in comparison.cells)]))
        legend_rows = -(-len(self.names) // 3)
        row = 0.30 * len(self.names) + 0.26
        self.figure = style.figure(WIDTH, 2.1 + 0.26 * legend_rows + row * len(self.places), title, subtitle)
        self.axes = self._axes(legend_rows)
        self._name_rows()

    def spots(self) -> list[tuple[CellResult, float, int]]:
        """(cell, height in the axes, number of its series) of everything to draw."""
        found = []
        for band, where in enumerate(self.places):
            for cell in at(self.comparison.cells, where):
                index = self.names.index(cell.name)
                found.append((cell, band + _spread(index, len(self.names)), index))
        return found

    def bar(self, low: float, high: float, y: float, index: int) -> None:
        """An interval."""
        self.axes.plot([low, high], [y, y], color=style.colour(index), lw=2.2, solid_capstyle="butt", zorder=2)

    def point(self, x: float, y: float, index: int) -> None:
        """A value."""
        self.axes.plot(x, y, style.mark(index), color=style.colour(index), ms=8, mec="white", zorder=3)

    def remark(self, text: str, y: float, *, strong: bool) -> None:
        """A word at the right end of a row."""
        self.axes.text(
            1.015,
            y,
            text,
            transform=self.axes.get_yaxis_transform(),
            va="center",
            fontsize=9.5,
            color=style.INK if strong else style.QUIET,
            weight="bold" if strong else "normal",
        )

    def _axes(self, legend_rows: int) -> Axes:
        height = self.figure.get_figheight()
        top = style.top(self.figure) - (0.26 * legend_rows + 0.05) / height
        axes = self.figure.add_axes((LEFT, FOOT / height, RIGHT - LEFT, top - FOOT / height))
        style.frame(axes)
        handles = [
            axes.plot([], [], style.mark(i), color=style.colour(i), ms=8, ls="-", lw=2.2, label=shortened(name))[0]
            for i, name in enumerate(self.names)
        ]
        self.figure.legend(
            handles=handles,
            loc="upper left",
            bbox_to_anchor=(0.06 / WIDTH, style.top(self.figure) + 0.1 / height),
            ncols=3,
            frameon=False,
            fontsize=10.5,
            handlelength=1.6,
        )
        return axes

    def _name_rows(self) -> None:
        several = len({where[2] for where in self.places}) > 1
        texts = []
        for band, where in enumerate(self.places):
            if band % 2:
                self.axes.axhspan(band - 0.5, band + 0.5, color="#f4f6f8", lw=0, zorder=0)
            cell = at(self.comparison.cells, where)[0]
            texts.append(label(cell).replace(" (", "\n(") + (f"\n{cell.driver} driver" if several else ""))
        self.axes.set_yticks(range(len(self.places)), texts)
        self.axes.set_ylim(len(self.places) - 0.5, -0.5)


def shortened(name: str) -> str:
    """Name that fits a legend."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def counted(cells: Sequence[CellResult]) -> str:
    """How many trials stand behind each point."""
    trials = [cell.rate.trials for cell in cells]
    return f"n = {min(trials)}" if min(trials) == max(trials) else f"n = {min(trials)} to {max(trials)}"


def _spread(index: int, count: int) -> float:
    return 0.0 if count == 1 else min(0.36, 0.7 / (count - 1)) * (index - 0.5 * (count - 1))
