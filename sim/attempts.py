"""Attempts on real lines: a log file in TOML or CSV, that a phone can edit, read with checks.

A log names its lines (an obstacle with its measured height or angle, and the surface), its configurations (build sheet
and changes) and its tries. Outcomes are those of the simulation, so that the two can be compared; ``void`` is a try
that does not count (something broke, somebody was in the way).
"""

from __future__ import annotations

import csv
import datetime
import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from models.record import read_record
from sim import place
from sim.errors import SimError, reading
from terrain.errors import TerrainError

Name = Annotated[str, Field(min_length=1, max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
VOID = "void"
REASONS: dict[str, tuple[str, ...]] = {
    "cleared": ("crossed the finish",),
    "rolled": ("tipped back", "nosed over", "tipped left", "tipped right"),
    "stuck": ("belly hung", "axle hung", "wheels in the air", "tyres slipped", "drive stalled"),
    "slid": ("slid back", "slid sideways", "left the lane"),
    "timeout": ("time ran out",),
    VOID: (),
}
"""Outcomes and the reason codes that the simulation gives them; a reason may also be free text."""
_COLUMNS = (
    "date", "line", "obstacle", "surface", "configuration", "outcome", "reason", "note", "video", "battery", "weather",
    "driver",
)
_NEEDED = ("line", "configuration", "outcome")
_VIDEO = re.compile(r"(?:\d{1,2}:)?\d{1,2}:\d{2}(?:\.\d+)?")
_LARGEST = 4_000_000


class LogError(SimError):
    """A log that cannot be imported as it stands."""


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class LineEntry(_Record):
    """One line on the rocks."""

    name: Name
    obstacle: Name
    """As for the simulation, with what was measured: ``ledge-on-slope:24,slope=15``."""
    surface: Name
    note: Text = ""


class TruckEntry(_Record):
    """One configuration that was driven."""

    name: Name
    build: Name
    changes: tuple[Name, ...] = ()


class TryEntry(_Record):
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


class LogFile(_Record):
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


@dataclass(frozen=True)
class Attempt:
    """One try as it goes into the store."""

    day: str
    """ISO 8601."""
    line: str
    obstacle: str
    """Without its level, as in the store's trials."""
    level: float
    surface: str
    configuration: str
    """Name in the log."""
    driver: str
    outcome: str
    reason: str
    note: str = ""
    video: str = ""
    battery: str = ""
    weather: str = ""
    simulated: bool = False

    @property
    def counts(self) -> bool:
        """Whether it is a try at all."""
        return self.outcome != VOID

    @property
    def cleared(self) -> bool:
        """Whether it was a success."""
        return self.outcome == "cleared"


@dataclass(frozen=True)
class Log:
    """A log, checked, in the order it was written."""

    attempts: tuple[Attempt, ...]
    trucks: tuple[TruckEntry, ...]
    file: Path


def read_log(path: str | Path, beside: str | Path | None = None, known: Sequence[str] = ()) -> Log:
    """Read a log file.

    :param beside: TOML file that holds the lines and configurations of a CSV log.
    :param known: configurations that the store already has, by name.
    :raises BuildSheetError: a TOML file with an unknown key or a wrong type.
    :raises LogError: a try on an unknown line or configuration, an outcome that does not exist, a bad date.
    """
    file = Path(path)
    day_file = None if beside is None else read_record(LogFile, Path(beside))
    if file.suffix.lower() in (".csv", ".tsv", ".txt"):
        log = _with_rows(file, day_file)
    else:
        log = read_record(LogFile, file)
        if day_file is not None:
            log = log.model_copy(update={"line": (*day_file.line, *log.line),
                                         "configuration": (*day_file.configuration, *log.configuration)})
    _check_names([line.name for line in log.line], file, "line")
    _check_names([truck.name for truck in log.configuration], file, "configuration")
    attempts = tuple(_attempts(log, file, known))
    if not attempts:
        raise LogError("holds no tries", file=file, remedy="Add [[attempt]] entries, or rows under the header")
    return Log(attempts, log.configuration, file)


def _check_names(names: Sequence[str], file: Path, what: str) -> None:
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise LogError(f"two of the same name ([[{what}]])", file=file, field=what, value=twice,
                       remedy="Give each its own name")


def _with_rows(file: Path, day: LogFile | None) -> LogFile:
    """A CSV file as a log; its lines may be given in its own obstacle and surface columns."""
    with reading(file):
        if file.stat().st_size > _LARGEST:
            raise LogError("too large for a log", file=file, remedy="Split it")
        data = file.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LogError("not UTF-8 text", file=file, remedy="Export it as CSV, UTF-8") from None
    rows = list(csv.reader(text.splitlines(), delimiter=_delimiter(text)))
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
            found = LineEntry(name=cells["line"], obstacle=cells["obstacle"], surface=cells.get("surface", "rock"))
            before = lines.setdefault(found.name, found)
            if before.obstacle != found.obstacle:
                raise LogError("is another obstacle than above", file=file, field=f"row {number}: {found.name}",
                               value=found.obstacle, remedy="A line keeps its obstacle; name a second line")
        kept = {k: v for k, v in cells.items() if k not in ("obstacle", "surface")}
        entries.append(TryEntry(**kept))
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


def _attempts(log: LogFile, file: Path, known: Sequence[str]) -> Iterable[Attempt]:
    lines = {line.name: (line, *_obstacle(line, file)) for line in log.line}
    trucks = [truck.name for truck in log.configuration] or list(known)
    for number, entry in enumerate(log.attempt, start=1):
        field = f"attempt {number}"
        if entry.line not in lines:
            raise LogError("no such line in this log", file=file, field=f"{field}: line", value=entry.line,
                           remedy=_which(entry.line, list(lines), "Describe it under [[line]]"))
        if entry.configuration not in (*trucks, *known):
            raise LogError(
                "no such configuration", file=file, field=f"{field}: configuration", value=entry.configuration,
                remedy=_which(entry.configuration, [*trucks, *known], "Describe it under [[configuration]] with its "
                              "build sheet and changes, or run the import on the store that has it"),
            )
        if bool(entry.tries) == (entry.outcome is not None):
            raise LogError("a try has an outcome", file=file, field=field,
                           remedy='Give outcome = "cleared", or tries = ["cleared", "stuck", ...]')
        line, obstacle, level = lines[entry.line]
        for told in entry.tries or (entry.outcome or "",):
            outcome, reason = _judged(told, entry.reason, file, field)
            yield Attempt(
                day=_day(entry.date or log.date, file, field), line=line.name, obstacle=obstacle, level=level,
                surface=" ".join(line.surface.lower().split()), configuration=entry.configuration,
                driver=entry.driver or log.driver, outcome=outcome, reason=reason, note=entry.note,
                video=_video(entry.video, file, field), battery=entry.battery or log.battery,
                weather=entry.weather or log.weather, simulated=log.simulated,
            )


def _obstacle(line: LineEntry, file: Path) -> tuple[str, float]:
    try:
        return place.split(line.obstacle)
    except TerrainError as fault:
        raise LogError(f"no obstacle that the simulation knows: {fault}", file=file, field=f"line {line.name}",
                       value=line.obstacle) from None  # fmt: skip


def _which(name: str, known: Sequence[str], otherwise: str) -> str:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    if near:
        return f'Did you mean "{near[0]}"?'
    return f"Known: {', '.join(dict.fromkeys(known))}. {otherwise}" if known else otherwise


def _judged(told: str, reason: str, file: Path, field: str) -> tuple[str, str]:
    """Split an outcome with its reason and check that they go together."""
    outcome, colon, own = told.partition(":")
    outcome = outcome.strip().lower()
    reason = own.strip() if colon else reason.strip()
    if outcome not in REASONS:
        by_reason = next((o for o, codes in REASONS.items() if outcome in codes), None)
        said = f'That is a reason: write "{by_reason}: {outcome}"'
        raise LogError("no such outcome", file=file, field=f"{field}: outcome", value=told,
                       remedy=said if by_reason else _which(outcome, list(REASONS), ""))
    owner = next((o for o, codes in REASONS.items() if reason.lower() in codes), outcome)
    if owner != outcome:
        raise LogError(f'"{reason}" is a reason for "{owner}", not for "{outcome}"', file=file,
                       field=f"{field}: reason", value=reason, remedy="Correct one of the two")
    return outcome, reason


def _day(told: datetime.date | str, file: Path, field: str) -> str:
    if isinstance(told, datetime.date):
        return told.isoformat()
    try:
        return datetime.date.fromisoformat(told.strip()).isoformat() if told.strip() else ""
    except ValueError:
        raise LogError("not a date", file=file, field=f"{field}: date", value=told,
                       remedy="Write year-month-day, as 2026-11-22") from None  # fmt: skip


def _video(told: str, file: Path, field: str) -> str:
    if told and not _VIDEO.fullmatch(told.strip()):
        raise LogError("not a time in a video", file=file, field=f"{field}: video", value=told,
                       remedy="Write minutes:seconds, as 3:12")
    return told.strip()


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
