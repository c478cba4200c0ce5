"""Attempts as rows: a CSV file that a spreadsheet or a phone made, turned into the records of a log."""

from __future__ import annotations

import csv
import difflib
from pathlib import Path

from models.record import validated
from sim.errors import reading
from sim.reality.attempt_file import LineEntry, LogError, LogFile, TryEntry

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
