"""One look for every picture: colours, marks, type, frame.

Colours are those of Okabe & Ito, "Color Universal Design" (2008), which stay apart in all common kinds of colour
blindness; every series also has its own mark, so that nothing hangs on colour. The title says the finding, the line
under it n and what was assumed.
"""

from __future__ import annotations

import textwrap
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes as Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Figure
from matplotlib.text import Text

from sim.chart import FORMATS
from sim.errors import SimError

INK = "#22262b"
QUIET = "#6b7280"
GRID = "#dfe3e8"
PAPER = "#ffffff"
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#7a6a00", "#3b3b3b")
MARKS = ("o", "s", "D", "^", "v", "P", "X", "*")
DPI = 160
FAILED, WARNED = "#D55E00", "#E69F00"

_SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 11,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.titlesize": 11,
    "axes.titlelocation": "left",
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    # Names from users are text, never formulas.
    "text.parse_math": False,
    # The same data give the same file.
    "svg.hashsalt": "cragbench",
    "svg.fonttype": "none",
}


def colour(index: int) -> str:
    """Colour of the n-th series."""
    return COLOURS[index % len(COLOURS)]


def mark(index: int) -> str:
    """Mark of the n-th series; with the colour, the first 56 series differ."""
    return MARKS[(index + index // len(COLOURS)) % len(MARKS)]


def figure(width: float, height: float, title: str, subtitle: str, *, wrap: int | None = None) -> Figure:
    """Blank figure (inches) with the finding on top and n and assumptions below it.

    Leaves the axes to the caller, who adds them under :func:`top` of the figure.
    """
    mpl.rcParams.update(_SETTINGS)
    made = Figure(figsize=(width, height), facecolor=PAPER)
    FigureCanvasAgg(made)
    columns = wrap or int(width * 8.4)
    lines = textwrap.wrap(title, columns, max_lines=3, placeholder=" …")
    small = textwrap.wrap(subtitle, int(columns * 1.42), max_lines=3, placeholder=" …")
    y = 1 - 0.14 / height
    made.text(0.16 / width, y, "\n".join(lines), fontsize=14, weight="bold", va="top", linespacing=1.25)
    y -= (0.26 * len(lines) + 0.06) / height
    made.text(0.16 / width, y, "\n".join(small), fontsize=10, color=QUIET, va="top", linespacing=1.3)
    made._crag_top = y - (0.19 * len(small) + 0.16) / height  # type: ignore[attr-defined]
    return made


def top(made: Figure) -> float:
    """Highest figure coordinate that axes may use."""
    return float(made._crag_top)  # type: ignore[attr-defined]


def readable(text: str) -> str:
    """Text without control characters, which no font has and SVG forbids; line breaks stay."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)


def frame(axes: Axes, *, grid: str = "x") -> None:
    """Quiet frame: a light grid in the direction of the values, no box."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.grid(True, axis=grid, color=GRID, linewidth=0.8)  # type: ignore[arg-type]
    axes.set_axisbelow(True)
    axes.tick_params(length=0)


def save(made: Figure, path: Path, formats: Sequence[str] = ("png", "svg")) -> list[Path]:
    """Write a figure once per format beside each other; returns the files.

    :raises SimError: Unknown format, or the folder cannot be written.
    """
    unknown = [name for name in formats if name not in FORMATS]
    if unknown:
        raise SimError("no such picture format", field="format", value=unknown[0],
                       remedy=f"Choose from: {', '.join(FORMATS)}")
    for text in made.findobj(Text):
        text.set_text(readable(text.get_text()))
    files = []
    for name in formats:
        file = path.with_name(f"{path.name}.{name}")
        metadata = {"png": {"Software": "cragbench"}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[name]
        try:
            with warnings.catch_warnings():
                # A name in a script that the font lacks is drawn as boxes.
                warnings.filterwarnings("ignore", message="Glyph .* missing from font")
                made.savefig(file, dpi=DPI, metadata=metadata)
        except OSError as error:
            raise SimError(f"cannot be written: {error.strerror}", file=file, remedy="Give another folder") from error
        files.append(file)
    return files

SCENE: dict[str, str] = {
    "sky": "#eef1f4",
    "rock": "#b9ad9b",
    "frame": "#565c64",
    "shell": "#0072B2",
    "cab": "#6fb4dc",
    "axle": "#8a9099",
    "link": "#3f454c",
    "shock": "#E69F00",
    "tyre": "#2b2e33",
    "gap": "#191b1e",
    "rim": "#c9ced6",
    "ghost": "#D55E00",
    "lane": "#9a8f7f",
    "load": "#009E73",
    "support": "#9B2D6B",
}
"""Tones of everything in a driven scene; the shell takes the colour of its configuration."""
MARGIN_BANDS: tuple[tuple[float, str, str], ...] = ((0.0, "#B3261E", "tipping"), (10.0, "#D55E00", "close"))
"""Tip-over margin (deg) below which a number is shown in that colour, with the word beside it."""
