"""A log of attempts, checked and kept: every try on a line and a configuration that are known, in the store beside
the trials they are compared with.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from models.nearest import meant
from models.record import read_record
from sim.reality.attempt_file import REASONS, VOID, LineEntry, LogError, LogFile, TruckEntry, with_rows
from sim.store.store import Store
from sim.trial import ground_cache
from terrain.errors import TerrainError

_VIDEO = re.compile(r"(?:\d{1,2}:)?\d{1,2}:\d{2}(?:\.\d+)?")


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
        log = with_rows(file, day_file)
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
        return ground_cache.split(line.obstacle)
    except TerrainError as fault:
        raise LogError(f"no obstacle that the simulation knows: {fault}", file=file, field=f"line {line.name}",
                       value=line.obstacle) from None  # fmt: skip


def _which(name: str, known: Sequence[str], otherwise: str) -> str:
    return meant(name, known, f"Known: {', '.join(dict.fromkeys(known))}. {otherwise}" if known else otherwise)


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


_FIELDS = tuple(f.name for f in fields(Attempt))
_COLUMNS = ("key", "config", *_FIELDS)
# Column names in these texts are constants of this file; values are always bound.
_INSERT = f"INSERT OR IGNORE INTO attempt ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})"  # noqa: S608
_SELECT = f"SELECT {', '.join(_COLUMNS[1:])} FROM attempt ORDER BY day, line, configuration, key"  # noqa: S608


@dataclass(frozen=True)
class Logged:
    """One attempt with the hash of its configuration."""

    config: str
    attempt: Attempt


def add_attempts(store: Store, attempts: Sequence[Attempt], hashes: Mapping[str, str]) -> int:
    """Write attempts in one transaction; those that are there already stay. Returns how many were new.

    :param hashes: configuration hash by the name used in the log.
    """
    seen: Counter[str] = Counter()
    rows = []
    for attempt in attempts:
        config = hashes[attempt.configuration]
        text = json.dumps([config, *astuple(attempt)])
        # The third of three equal tries is another one; the same file read twice is not.
        seen[text] += 1
        key = hashlib.sha256(f"{seen[text]} {text}".encode()).hexdigest()[:32]
        rows.append((key, config, *astuple(attempt)))
    return store.insert(_INSERT, rows)


def logged(store: Store) -> list[Logged]:
    """Every attempt in the store, by day and line."""
    found = []
    for config, *values in store.select(_SELECT):
        row = dict(zip(_FIELDS, values, strict=True))
        found.append(Logged(config, Attempt(**{**row, "simulated": bool(row["simulated"])})))
    return found
