"""Sheets to print: set-up sheet, weighing form, run log; one page each, A4 or Letter, black on white.

Drawn in millimetres from the page's upper left corner. Nothing hangs on colour: ink is black, boxes are outlines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from sim.chart import PAPERS, style
from sim.errors import SimError, writing

MARGIN = 12.0
ROW = 6.2
_MM = 25.4
_POINT = 25.4 / 72.0
SMALLEST = 6.2
"""Points: two lines of it stand in a row, and it can still be read on paper (common practice, no source)."""
_INK, _FAINT = "#000000", "#555555"


@dataclass
class PdfPage:
    """One page being filled from the top."""

    figure: Figure
    width: float
    height: float
    y: float = MARGIN

    @property
    def right(self) -> float:
        """Right edge of the print, mm."""
        return self.width - MARGIN

    def text(self, x: float, y: float, words: str, *, size: float = 9.0, bold: bool = False, faint: bool = False,
             align: str = "left") -> None:
        """Words with their baseline's top at y."""
        self.figure.text(x / self.width, 1.0 - y / self.height, words, fontsize=size, va="top", ha=align,
                         weight="bold" if bold else "normal", color=_FAINT if faint else _INK)  # fmt: skip

    def line(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.5) -> None:
        """A straight line, mm."""
        self.figure.add_artist(mpl.lines.Line2D(
            [x0 / self.width, x1 / self.width], [1 - y0 / self.height, 1 - y1 / self.height], lw=width, color=_INK
        ))  # fmt: skip

    def box(self, x: float, y: float, w: float, h: float, width: float = 0.6) -> None:
        """An outline, mm."""
        for a, b, c, d in ((x, y, x + w, y), (x + w, y, x + w, y + h), (x + w, y + h, x, y + h), (x, y + h, x, y)):
            self.line(a, b, c, d, width)

    def heading(self, words: str) -> None:
        """A section's title with a rule."""
        self.y += 2.0
        self.text(MARGIN, self.y, words, size=10.5, bold=True)
        self.y += 5.2
        self.line(MARGIN, self.y, self.right, self.y, 0.9)
        self.y += 1.4

    def fields(self, labels: Sequence[tuple[str, str]], columns: int = 2) -> None:
        """Labels each with its value, or a line to write on."""
        gap = 5.0
        wide = (self.right - MARGIN - gap * (columns - 1)) / columns
        for n, (label, value) in enumerate(labels):
            x = MARGIN + (n % columns) * (wide + gap)
            if n and n % columns == 0:
                self.y += ROW
            self.text(x, self.y + 0.9, label, size=8.0, faint=True)
            self.line(x + 0.46 * wide, self.y + ROW - 1.2, x + wide, self.y + ROW - 1.2, 0.4)
            if value:
                self.cell(x + 0.47 * wide, self.y - 0.3, value, wide * 0.52, 8.6)
        self.y += ROW

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], *,
              row: float = ROW) -> None:
        """A grid with a head; empty cells to write in. Widths are shares."""
        total = sum(widths)
        edges = [MARGIN]
        for share in widths:
            edges.append(edges[-1] + share / total * (self.right - MARGIN))
        tall = 4.2 + 3.0 * max(head.count("\n") for head in heads)
        top = self.y
        for x, head in zip(edges, heads, strict=False):
            self.text(x + 0.8, self.y + 0.7, head, size=7.2, bold=True)
        self.y += tall
        for cells in rows:
            self.line(MARGIN, self.y, self.right, self.y, 0.4)
            for x, end, cell in zip(edges, edges[1:], cells, strict=False):
                if cell:
                    self.cell(x + 0.8, self.y, cell, end - x - 1.6, 8.0, row)
            self.y += row
        for x in edges:
            self.line(x, top, x, self.y, 0.4)
        self.line(MARGIN, top, self.right, top, 0.8)
        self.line(MARGIN, self.y, self.right, self.y, 0.8)
        self.y += 1.5

    def cell(self, x: float, y: float, words: str, wide: float, size: float, row: float = ROW) -> None:
        """Words that stand in a row of this width: on one line, on two smaller ones, and only then cut."""
        lines, size = _fitted(words, wide, size)
        step = size * _POINT * 1.2
        for n, line in enumerate(lines):
            self.text(x, y + 0.5 * (row - step * len(lines)) + n * step, line, size=size)

    def paragraph(self, words: str) -> None:
        """Wrapped words."""
        size = 7.8
        for text in _wrapped(words, self.right - MARGIN, size):
            self.text(MARGIN, self.y, text, size=size)
            self.y += size * _POINT * 1.35
        self.y += 0.8

    def caution(self, words: str) -> None:
        """A boxed caution at the foot of the page."""
        size = 7.4
        lines = _wrapped(words, self.right - MARGIN - 25.0, size)
        tall = len(lines) * size * _POINT * 1.35 + 3.0
        top = self.height - MARGIN - tall
        if self.y > top + 0.5:
            raise SimError("the page is too full", field="forms", remedy="This is a fault of the program")
        self.box(MARGIN, top, self.right - MARGIN, tall, 1.2)
        self.text(MARGIN + 2.0, top + 1.5, "CAUTION", size=9.0, bold=True)
        for n, text in enumerate(lines):
            self.text(MARGIN + 23.0, top + 1.5 + n * size * _POINT * 1.35, text, size=size)

    def rest(self, foot: float) -> int:
        """Table rows that still fit above a foot of this height."""
        return int((self.height - MARGIN - foot - self.y - 6.0) // ROW)


def _long(words: str, size: float) -> float:
    """Length of a line of text, mm."""
    return float(text_to_path.get_text_width_height_descent(words, FontProperties(size=size), False)[0]) * _POINT


def _fitted(words: str, wide: float, size: float) -> tuple[list[str], float]:
    """Lines that stand in a row, and their size; an ellipsis says where words are missing."""
    words = "".join(c if c.isprintable() else " " for c in words)
    wide *= 0.97  # screens and printers set letters a little wider than their outlines are
    for smaller in (size, 0.5 * (size + SMALLEST)):
        if _long(words, smaller) <= wide:
            return [words], smaller
    lines = _wrapped(words, wide, SMALLEST)
    return [_cut(line, wide, SMALLEST) for line in (*lines[:1], " ".join(lines[1:])) if line], SMALLEST


def _cut(words: str, wide: float, size: float) -> str:
    """Words that fit a width, with an ellipsis where some are missing."""
    if _long(words, size) <= wide:
        return words
    while len(words) > 1 and _long(words + "…", size) > wide:
        words = words[:-1]
    return words + "…"


def _wrapped(words: str, wide: float, size: float) -> list[str]:
    """Lines of words that fit a width."""
    return style.broken(words, lambda line: _long(line, size) <= wide)


def page(paper: str, title: str, under: str) -> PdfPage:
    """Start a page.

    :raises SimError: No such paper.
    """
    if paper not in PAPERS:
        raise SimError("no such paper", field="paper", value=paper, remedy=f"Choose from: {', '.join(PAPERS)}")
    mpl.rcParams.update({
        "font.family": "DejaVu Sans", "text.parse_math": False, "pdf.fonttype": 3, "axes.unicode_minus": True,
    })  # fmt: skip
    width, height = PAPERS[paper]
    made = Figure(figsize=(width / _MM, height / _MM), facecolor="white")
    FigureCanvasPdf(made)
    new = PdfPage(made, width, height)
    new.text(MARGIN, new.y, title, size=15.0, bold=True)
    new.text(new.right, new.y + 1.6, under, size=8.0, faint=True, align="right")
    new.y += 8.5
    return new


def save_page(made: PdfPage, file: Path) -> Path:
    """Write a page as PDF, never over a file that is there.

    :raises SimError: There is such a file, or it cannot be written.
    """
    if file.exists():
        raise SimError("is there already", file=file, remedy="Name another folder, or move the file away")
    metadata: dict[str, Any] = {"Creator": "cragbench", "Producer": None, "CreationDate": None}
    with writing(file, "Name another folder"):
        made.figure.savefig(file, format="pdf", metadata=metadata)
    return file
