"""One look for every picture: colours, marks, type, frame, and a head whose words are measured before they are set.

Colours and their order are those of Okabe & Ito, "Color Universal Design" (2008), which stay apart in all common kinds
of colour blindness; the light ones are darkened until each stands out 3:1 from white (WCAG 2.2, criterion 1.4.11).
Every series also has its own mark, so that nothing hangs on colour. The title says the finding, the line under it n
and what was assumed. Names are never cut: they wrap, and the picture grows.
"""

from __future__ import annotations

import functools
import re
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes as Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Wedge
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

from sim.chart import FORMATS
from sim.errors import SimError, writing

INK = "#22262b"
QUIET = "#6b7280"
FAINT = "#8a919b"
"""Marks that stand back, still 3:1 from white."""
GRID = "#dfe3e8"
PAPER = "#ffffff"
BAND = "#f4f6f8"
PART, CHANGED, TYRE, EARTH = "#d5dae0", "#f4c68a", "#eceff2", "#c9bfae"
"""What fills areas with an edge of their own: a part, one that a change touched, a tyre, ground that is cut through."""
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#BF5C95", "#A87400", "#2E8BC0", "#7a6a00", "#3b3b3b")
MARKS = ("o", "s", "D", "^", "v", "P", "X", "*")
DPI = 160
FAILED = "#D55E00"
SMALL = 10.5
"""Points of the smallest letters: 11 px on a phone's page."""
LINE = 1.32
"""Lines of text stand so many times their size apart."""
EDGE = 0.16
"""Inches left free at the sides of the head."""

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
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
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


@dataclass(frozen=True)
class Key:
    """One entry of a legend; ``look`` are properties of its line."""

    text: str
    look: dict[str, Any] = field(default_factory=dict)
    series: int | None = None
    """Series that the entry names; the page hides and shows it."""


def key(name: str, series: int, **look: Any) -> Key:
    """Entry of a series with its own colour and mark."""
    tone = colour(series)
    return Key(name, {"color": tone, "marker": mark(series), "ms": 8, "lw": 2.2, "mec": PAPER} | look, series)


@functools.lru_cache(maxsize=8192)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text in inches."""
    font = FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        # Hinting to whole pixels makes a line up to 3 % wider than its outlines.
        return 1.03 * float(text_to_path.get_text_width_height_descent(text, font, False)[0]) / 72.0


def wrapped(text: str, inches: float, size: float = SMALL, bold: bool = False) -> list[str]:
    """Lines of a text that fit a width."""
    return broken(text, lambda line: text_width(line, size, bold) <= inches)


def broken(text: str, fits: Callable[[str], bool]) -> list[str]:
    """Lines of a text that fit by a measure; a word that is longer is broken."""
    lines = [""]
    # A space that does not break, as between a number and its unit, is a letter.
    for word in re.split(r"[ \n\t]+", readable(text).strip()):
        longer = f"{lines[-1]} {word}".strip()
        if fits(longer):
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if lines[-1] and not fits(lines[-1] + letter):
                lines.append("")
            lines[-1] += letter
    return lines


def lines_of(texts: Iterable[str], inches: float, size: float = SMALL) -> list[str]:
    """Texts each with its line breaks, for the names of rows."""
    return ["\n".join(wrapped(text, inches, size)) for text in texts]


def tallest(texts: Iterable[str], size: float = SMALL) -> float:
    """Inches that the tallest of some broken texts takes."""
    return max((text.count("\n") + 1 for text in texts), default=0) * LINE * size / 72.0


def blank(width: float, height: float) -> Figure:
    """Empty figure (inches) in the house's look."""
    mpl.rcParams.update(_SETTINGS)
    made = Figure(figsize=(width, height), facecolor=PAPER)
    FigureCanvasAgg(made)
    return made


def figure(width: float, body: float, title: str, subtitle: str, keys: Sequence[Key] = ()) -> Figure:
    """Blank figure (inches) with the finding on top, n and assumptions below it, then the legend.

    The head takes what its words need; ``body`` inches are left under it for the axes (see :func:`axes`).
    """
    room = width - 2 * EDGE
    head = wrapped(title, room, 14.0, True) if title else []
    small = wrapped(subtitle, room) if subtitle else []
    columns = max(1, int(room / 2.6)) if keys else 1
    columns = min(columns, len(keys) or 1)
    names = [wrapped(one.text, room / columns - 0.42) for one in keys]
    rows = [max(map(len, names[k : k + columns])) for k in range(0, len(keys), columns)]
    line, bold_line = LINE * SMALL / 72.0, LINE * 14.0 / 72.0
    tall = 0.14 + bold_line * len(head) + 0.06 + line * len(small) + 0.08 + line * sum(rows) + 0.04 * len(rows)
    height = tall + body
    made = blank(width, height)
    y = height - 0.14
    made.text(EDGE / width, y / height, "\n".join(head), fontsize=14, weight="bold", va="top", linespacing=LINE / 1.17)
    y -= bold_line * len(head) + 0.06
    made.text(EDGE / width, y / height, "\n".join(small), fontsize=SMALL, color=QUIET, va="top",
              linespacing=LINE / 1.17)
    y -= line * len(small) + 0.08
    for n, (one, words) in enumerate(zip(keys, names, strict=True)):
        column = n % columns
        x = EDGE + column * room / columns
        middle = y - 0.5 * line
        look = {"solid_capstyle": "butt"} | one.look
        marker = {k: look.pop(k) for k in ("marker", "ms", "mec", "mew", "mfc", "fillstyle") if k in look}
        stroke = Line2D([x / width, (x + 0.3) / width], [middle / height] * 2, **look)
        point = Line2D([(x + 0.15) / width], [middle / height], color=look.get("color", INK), ls="none", **marker)
        label = made.text((x + 0.38) / width, y / height, "\n".join(words), fontsize=SMALL, va="top",
                          linespacing=LINE / 1.17)
        for artist in (made.add_artist(stroke), made.add_artist(point), label):
            if one.series is not None:
                note(made, artist, series=one.series, kind="key")
        if column == columns - 1 or n == len(keys) - 1:
            y -= line * rows[n // columns] + 0.04
    made._crag_top = body / height  # type: ignore[attr-defined]
    return made


def top(made: Figure) -> float:
    """Highest figure coordinate that axes may use."""
    return float(made._crag_top)  # type: ignore[attr-defined]


def axes(
    made: Figure, left: float = 0.84, right: float = 0.16, foot: float = 0.62, head: float = 0.08, *, grid: str = "x"
) -> Axes:
    """Axes with a quiet frame that fill the body but for so many inches at each side."""
    width, height = made.get_size_inches()
    tall = top(made) - (foot + head) / height
    new = made.add_axes((left / width, foot / height, 1.0 - (left + right) / width, tall))
    frame(new, grid=grid)
    return new


def owner(axes: Axes) -> Figure:
    """The figure that axes stand in."""
    made = axes.figure
    assert isinstance(made, Figure)
    return made


def readable(text: str) -> str:
    """Text without control characters, which no font has and SVG forbids; line breaks and spaces that bind stay."""
    return "".join(c if c.isprintable() or c in "\n\u00a0" else "\N{REPLACEMENT CHARACTER}" for c in text)


def frame(axes: Axes, *, grid: str = "x") -> None:
    """Quiet frame: a light grid in the direction of the values, no box."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.grid(True, axis=grid, color=GRID, linewidth=0.8)  # type: ignore[arg-type]
    axes.set_axisbelow(True)
    axes.tick_params(length=0)


@dataclass(frozen=True)
class Note:
    """What the page knows of one thing in a chart."""

    text: str
    series: int | None
    kind: str


def note(made: Figure, artist: Artist, text: str = "", series: int | None = None, kind: str = "hit") -> None:
    """Say what an artist shows: the page tells ``text`` to who points at it, and hides and shows its ``series``."""
    known: dict[str, Note] = made.__dict__.setdefault("_crag_notes", {})
    name = f"note{len(known)}"
    artist.set_gid(name)
    known[name] = Note(readable(text), series, kind if text or kind == "key" else "")


def notes(made: Figure) -> dict[str, Note]:
    """Everything that was said with :func:`note`, by the artist's id."""
    return dict(getattr(made, "_crag_notes", {}))


def quartered(axes: Axes, at: tuple[float, float], radius: float, tone: str = INK) -> None:
    """The mark of a centre of gravity, in the axes' own unit."""
    axes.add_patch(Circle(at, radius, fc=PAPER, ec=tone, lw=1.6, zorder=10))
    for start in (0, 180):
        axes.add_patch(Wedge(at, radius, start, start + 90, fc=tone, zorder=11))


def spot(
    axes: Axes, x: float, y: float, series: int, text: str = "", *, low: float | None = None,
    high: float | None = None, upright: bool = True, size: float = 8.0, hollow: bool = False,
) -> None:
    """One value of a series with its interval and what it says."""
    made, tone = owner(axes), colour(series)
    if low is not None and high is not None:
        line = ([x, x], [low, high]) if upright else ([low, high], [y, y])
        bar = axes.plot(*line, color=tone, lw=2.2, solid_capstyle="butt", zorder=2)[0]
        note(made, bar, text, series)
    point = axes.plot(x, y, mark(series), color=PAPER if hollow else tone, mec=tone if hollow else PAPER, ms=size,
                      mew=1.6 if hollow else 1.0, zorder=3)[0]
    note(made, point, text, series)


def unit_word(unit: str) -> str:
    """A level's unit as an axis tells it."""
    return "degrees" if unit == "deg" else unit


def counted(numbers: Sequence[int], *, word: str = "n") -> str:
    """How many stand behind each point: ``n = 12`` or ``n = 8 to 12``."""
    if not numbers:
        return f"{word} = 0"
    low, high = min(numbers), max(numbers)
    return f"{word} = {low}" if low == high else f"{word} = {low} to {high}"


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
        with writing(file, "Give another folder"), warnings.catch_warnings():
            # A name in a script that the font lacks is drawn as boxes.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            made.savefig(file, dpi=DPI, metadata=metadata)
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
    "part": "#8FA3B8",
    "changed": "#FFB000",
}
"""Tones of everything in a driven scene; the shell takes the colour of its configuration."""
MARGIN_BANDS: tuple[tuple[float, str, str], ...] = ((0.0, "#B3261E", "tipping"), (10.0, "#D55E00", "close"))
"""Tip-over margin (deg) below which a number is shown in that colour, with the word beside it."""
