"""Attempts on real lines as they are written down: a log file in TOML or CSV, that a phone or spreadsheet can edit.

A log names its lines (an obstacle with its measured height or angle, and the surface), its configurations (build sheet
and changes) and its tries. Outcomes are those of the simulation, so that the two can be compared; ``void`` is a try
that does not count (something broke, somebody was in the way).
"""

from __future__ import annotations

import csv
import datetime
import difflib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from models.record import validated
from models.spec import Spec
from sim.errors import SimError, reading

Name = Annotated[str, Field(min_length=1, max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
VOID = "void"
REASONS: dict[str, tuple[str, ...]] = {
    "cleared": ("crossed the finish",),
    "rolled": ("tipped back", "nosed over", "tipped left", "tipped right"),
    "stuck": ("belly hung", "axle hung", "wheels in the air", "tyres slipped", "drive stalled"),
    "slid": ("slid back", "slid sideways", "slid down", "left the lane"),
    "timeout": ("time ran out",),
    VOID: (),
}
"""Outcomes and the reason codes that the simulation gives them; a reason may also be free text."""


class LogError(SimError):
    """A log that cannot be imported as it stands."""


class LineEntry(Spec):
    """One line on the rocks."""

    name: Name
    obstacle: Name
    """As for the simulation, with what was measured: ``ledge-on-slope:24,slope=15``."""
    surface: Name
    note: Text = ""


class TruckEntry(Spec):
    """One configuration that was driven."""

    name: Name
    build: Name
    changes: tuple[Name, ...] = ()


class TryEntry(Spec):
    """One try, or several in a row alike in all but the outcome."""

    line: Name
    configuration: Name
    outcome: Name | None = None
    tries: tuple[Name, ...] = ()
    """Several outcomes in order, each may carry its reason: ``"stuck: tyres slipped"``."""
    reason: Text = ""
    note: Text = ""
    video: Text = ""
    battery: Text = ""
    weather: Text = ""
    date: datetime.date | str = ""
    driver: Text = ""


class LogFile(Spec):
    """A day's log."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    date: datetime.date | str = ""
    place: Text = ""
    driver: Name = "driver"
    weather: Text = ""
    battery: Text = ""
    note: Text = ""
    invented: bool = False
    simulated: bool = False
    line: tuple[LineEntry, ...] = ()
    configuration: tuple[TruckEntry, ...] = ()
    attempt: tuple[TryEntry, ...] = ()


STARTER_DATE = "2026-11-22"
"""Stands in the starters for the day on which one is written."""
STARTER = """\
# A day on the rocks. Any number of tries per line; outcomes: cleared, rolled, stuck, slid, timeout (void: does not
# count). A reason is one of the simulation's codes or your own words, after a colon.
schema = 1
date = 2026-11-22
place = ""
driver = "me"
weather = ""
battery = ""

[[configuration]]
name = "as it is"
build = "my-truck.toml"     # from this file's folder
changes = []                # as ["battery-forward.toml"]

[[line]]
name = "step by the oak"
obstacle = "ledge:24"       # family and what you measured: ledge:mm, climb:deg, side-hill:deg, descent:deg, ...
surface = "sandstone, dry"

[[attempt]]
line = "step by the oak"
configuration = "as it is"
tries = ["cleared", "stuck: tyres slipped", "cleared"]
video = "0:42"
note = ""
"""
_COLUMNS = (
    "date", "line", "obstacle", "surface", "configuration", "outcome", "reason", "note", "video", "battery", "weather",
    "driver",
)
_NEEDED = ("line", "configuration", "outcome")
_LARGEST = 4_000_000


STARTER_ROWS = """\
# One row per try. outcome: cleared, rolled, stuck, slid, timeout (void: does not count), and why after a colon.
line,obstacle,surface,configuration,outcome,video,battery,weather,driver,date,note
step by the oak,ledge:24,"sandstone, dry",as it is,cleared,0:42,7.9 V,"dry, 9 C",me,2026-11-22,
step by the oak,,,as it is,stuck: tyres slipped,1:10,,,me,2026-11-22,second start mark
"""
"""A table to start from; its configuration is one that the store has, or that a TOML file beside it describes."""


def with_rows(file: Path, day: LogFile | None) -> LogFile:
    """Read a CSV file as a log; its lines may be given in its own obstacle and surface columns.

    :raises LogError: Not text, no header, a column or cell that does not fit.
    :raises BuildSheetError: A cell that is too long.
    """
    with reading(file):
        if not file.is_file() and file.exists():
            raise LogError("not a regular file", file=file, remedy="Name the log itself")
        if file.stat().st_size > _LARGEST:
            raise LogError("too large for a log", file=file, remedy="Split it")
        data = file.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LogError("not UTF-8 text", file=file, remedy="Export it as CSV, UTF-8") from None
    try:
        rows = list(csv.reader(text.splitlines(), delimiter=_delimiter(text)))
    except csv.Error as fault:
        raise LogError(f"not rows of a table: {fault}", file=file, remedy="Export it as CSV again") from None
    rows = [row for row in rows if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")]
    if not rows:
        raise LogError("is empty", file=file, remedy=f"Its first row names the columns: {', '.join(_COLUMNS)}")
    header = [_column(cell, file) for cell in rows[0]]
    missing = [name for name in _NEEDED if name not in header]
    if missing:
        raise LogError(f"has no column {missing[0]}", file=file, field="header", value=rows[0],
                       remedy=f"The first row names the columns: {', '.join(_COLUMNS)}")
    lines: dict[str, LineEntry] = {line.name: line for line in day.line} if day is not None else {}
    entries = []
    for number, row in enumerate(rows[1:], start=2):
        if len(row) > len(header) and any(cell.strip() for cell in row[len(header) :]):
            raise LogError("has more cells than the header", file=file, field=f"row {number}", value=row[-1],
                           remedy="Put text that holds a comma in double quotes")
        cells = {name: cell.strip() for name, cell in zip(header, row, strict=False) if cell.strip()}
        absent = next((name for name in _NEEDED if name not in cells), None)
        if absent is not None:
            raise LogError(f"has no {absent}", file=file, field=f"row {number}", remedy="Fill it in or drop the row")
        if "obstacle" in cells:
            told = {"name": cells["line"], "obstacle": cells["obstacle"], "surface": cells.get("surface", "rock")}
            found = validated(LineEntry, told, file)
            before = lines.setdefault(found.name, found)
            if before.obstacle != found.obstacle:
                raise LogError("is another obstacle than above", file=file, field=f"row {number}: {found.name}",
                               value=found.obstacle, remedy="A line keeps its obstacle; name a second line")
        kept = {k: v for k, v in cells.items() if k not in ("obstacle", "surface")}
        entries.append(validated(TryEntry, kept, file))
    base = day or LogFile.model_validate({"schema": 1})
    return base.model_copy(update={"line": tuple(lines.values()), "attempt": tuple(entries)})


def _delimiter(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    return max(",;\t", key=first.count)


def _column(cell: str, file: Path) -> str:
    name = cell.strip().lower()
    if name in _COLUMNS:
        return name
    near = difflib.get_close_matches(name, _COLUMNS, n=1, cutoff=0.5)
    raise LogError("no such column", file=file, field="header", value=cell,
                   remedy=f"Did you mean {near[0]}?" if near else f"Columns: {', '.join(_COLUMNS)}")
