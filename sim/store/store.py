"""All trials of a study in one SQLite file.

The standard library's driver is used as it is: one writer, two plain inserts and one query need no layer, and the
three settings that make a reported trial durable (write-ahead log, full synchronisation, busy timeout) stay in view.
"""

from __future__ import annotations

import io
import json
import os
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import astuple, dataclass, fields
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import StoreError
from sim.store import schema
from sim.store.integrity import NONE_KEPT, Damaged, blob_check, check_value, described, facts_of, fault, stored_form
from sim.trial.luck import Draw
from sim.trial.result import Trace
from sim.trial.task import RECORD_COLUMNS, Cell, Record, Report, Task, Versions

KEY_COLUMNS = ("config", "obstacle", "level", "yard", "driver", "study_seed", "repeat", "draw", "code", "engine",
               "model")
COLUMNS = ("key", *KEY_COLUMNS, *RECORD_COLUMNS)
"""Columns of a trial that are the same in every run."""
EFFORT = ("wall_s", "finished_at")
"""Columns beside them that are not: computing time, and when it was stored (POSIX time)."""
ORDER = "obstacle, level, driver, config, study_seed, repeat, code, engine, key"
WAIT_S = 30.0
"""How long one writer waits for another."""
# Column names in these texts are constants of this file; values are always bound.
_MEASURES = ", ".join(RECORD_COLUMNS)
_ALL = (*COLUMNS, *EFFORT)
_HOLDERS = ", ".join("?" * (len(_ALL) + 1))
_INSERT = f"INSERT OR IGNORE INTO trial ({', '.join(_ALL)}, checksum) VALUES ({_HOLDERS})"  # noqa: S608


@dataclass(frozen=True)
class StoredTruck:
    """A truck as the store remembers it."""

    hash: str
    name: str
    facts: dict[str, Any]
    """Whatever is worth showing beside the results: mass_g, front_percent, price, what changed."""


@dataclass(frozen=True)
class Trial:
    """One stored row."""

    key: str
    task: Task
    versions: Versions
    record: Record


class Store:
    """One open store. Use as a context manager; one opened for reading writes no trials."""

    def __init__(self, path: str | Path, *, write: bool = False) -> None:
        """Open ``path``, creating it when ``write`` is set; one of an older version is brought up to date.

        :raises StoreError: Missing (when reading), foreign, newer, cut short or damaged; the file is left as it is.
        """
        self.path = Path(path)
        self.write = write
        self._connection = self._open()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; with no other user this folds the log back into it."""
        self._connection.close()

    def add(self, reports: Sequence[Report], versions: Versions) -> int:
        """Write finished trials in one transaction; they are on the disk when this returns.

        A trial that is already there stays as it is. Returns how many were new.
        """
        rows, traces, now = [], [], time.time()
        for report in reports:
            key = report.task.key(versions)
            row = stored_form(_ALL, (*_row(key, report, versions), report.wall_s, now))
            rows.append((*row, check_value(row)))
            if report.trace is not None:
                blob = pack(report.trace)
                traces.append((key, blob, blob_check(blob)))
        with self._transaction() as cursor:
            before = self._connection.total_changes
            cursor.executemany(_INSERT, rows)
            new = self._connection.total_changes - before
            cursor.executemany("INSERT OR IGNORE INTO trace (key, npz, checksum) VALUES (?, ?, ?)", traces)
            cursor.executemany("DELETE FROM claim WHERE key = ?", [(row[0],) for row in rows])
        self.__dict__.pop("damaged", None)
        return new

    def claim(self, keys: Sequence[str], owner: str, until: float, free: Callable[[str, float], bool]) -> set[str]:
        """Claim trials for one batch, see :mod:`sim.store.claims`; returns those that nobody else holds.

        :param free: Whether a claim of some other owner, until some time, is void.
        """
        ours = set()
        with self._transaction() as cursor:
            for key in keys:
                held = cursor.execute("SELECT owner, until FROM claim WHERE key = ?", (key,)).fetchone()
                if held is not None and held[0] != owner and not free(*held):
                    continue
                if cursor.execute("SELECT 1 FROM trial WHERE key = ?", (key,)).fetchone() is None:
                    cursor.execute("INSERT OR REPLACE INTO claim VALUES (?, ?, ?)", (key, owner, until))
                    ours.add(key)
        return ours

    def add_configurations(self, configurations: Iterable[StoredTruck]) -> None:
        """Remember trucks by their hash; a later name for the same truck replaces the earlier."""
        rows = [(c.hash, c.name, json.dumps(c.facts, sort_keys=True)) for c in configurations]
        with self._transaction() as cursor:
            cursor.executemany("INSERT OR REPLACE INTO configuration (hash, name, facts, checksum) "
                               "VALUES (?, ?, ?, ?)", [(*row, check_value(row)) for row in rows])

    def add_plan(self, digest: str, name: str, text: str) -> None:
        """Remember the plan that trials were made by."""
        with self._transaction() as cursor:
            cursor.execute("INSERT OR IGNORE INTO plan (hash, name, text) VALUES (?, ?, ?)", (digest, name, text))

    def plans(self) -> list[tuple[str, str, str]]:
        """Every plan run on this store: hash, name, text."""
        return list(self._rows("SELECT hash, name, text FROM plan ORDER BY name, hash"))

    def find(self, key: str) -> Record | None:
        """Result of one trial, None while it is missing."""
        if key not in self.damaged:
            for row in self._rows(f"SELECT {_MEASURES} FROM trial WHERE key = ?", (key,)):  # noqa: S608
                return _record(row)
        return None

    def done(self) -> dict[str, Record]:
        """Every stored result by key."""
        return {row[0]: _record(row[1:]) for row in self.table(("key", *RECORD_COLUMNS))}

    def configurations(self) -> dict[str, StoredTruck]:
        """Trucks by hash; one whose description is not what was written is left out, its hash stands for it."""
        rows = self._rows("SELECT hash, name, facts, checksum FROM configuration")
        return {row[0]: StoredTruck(row[0], row[1], facts) for row in rows if (facts := facts_of(row)) is not None}

    def latest(self) -> Versions | None:
        """Versions of the trial stored last, with the model stored last of every truck; None in an empty store."""
        for code, engine in self._rows("SELECT code, engine FROM trial ORDER BY finished_at DESC, key LIMIT 1"):
            # SQLite takes the other columns of a group from the row that holds its maximum.
            asked = "SELECT config, model, max(finished_at) FROM trial WHERE code = ? AND engine = ? GROUP BY config"
            return Versions(code, engine, {row[0]: row[1] for row in self._rows(asked, (code, engine))})
        return None

    @cached_property
    def damaged(self) -> dict[str, Damaged]:
        """Trials that cannot be used, by key: no reader gives them out, and a batch leaves them alone."""
        found = {}
        for *values, checksum in self._rows(f"SELECT {', '.join(_ALL)}, checksum FROM trial"):  # noqa: S608
            row = dict(zip(_ALL, values, strict=True))
            why = fault(row, checksum)
            if why:
                found[row["key"]] = Damaged(row["key"], described(row), why)
        return found

    def count(self) -> int:
        """Number of trials."""
        return int(next(self._rows("SELECT count(*) FROM trial"))[0])

    def of_others(self, versions: Versions) -> int:
        """Number of trials that other versions computed, of the physics or of the same truck."""
        rows = self._rows("SELECT code, engine, config, model, count(*) FROM trial GROUP BY 1, 2, 3, 4")
        return sum(count for *made, count in rows if not versions.made(*made))

    def seconds_per_trial(self) -> float | None:
        """Mean computing time of the stored trials, None without any."""
        value = next(self._rows("SELECT avg(wall_s) FROM trial"))[0]
        return None if value is None else float(value)

    def table(self, columns: Sequence[str] = COLUMNS) -> Iterator[tuple[Any, ...]]:
        """Rows in one fixed order, as stored; damaged ones are left out (:attr:`damaged`)."""
        unknown = set(columns) - {*COLUMNS, *EFFORT}
        if unknown:
            raise StoreError("no such column", file=self.path, field="columns", value=sorted(unknown))
        damaged = self.damaged
        for key, *row in self._rows(f"SELECT key, {', '.join(columns)} FROM trial ORDER BY {ORDER}"):  # noqa: S608
            if key not in damaged:
                yield tuple(row)

    def of(self, versions: Versions, columns: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """Rows of some versions alone, in the same order."""
        for *row, code, engine, config, model in self.table((*columns, "code", "engine", "config", "model")):
            if versions.made(code, engine, config, model):
                yield tuple(row)

    def trials(self) -> Iterator[Trial]:
        """Every trial in one fixed order."""
        for row in self.table():
            yield _trial(row)

    def cells(self) -> dict[Cell, int]:
        """Number of trials of each cell."""
        rows = self._rows("SELECT config, obstacle, level, driver, count(*) FROM trial GROUP BY 1, 2, 3, 4")
        return {Cell(*row[:4]): row[4] for row in rows}

    def trace(self, key: str) -> Trace | None:
        """Recorded motion of one trial, None if it was not asked for."""
        for blob, checksum in self._rows("SELECT npz, checksum FROM trace WHERE key = ?", (key,)):
            if checksum not in (NONE_KEPT, blob_check(blob)):
                raise StoreError("a recorded motion is not what was written", file=self.path, field="trial", value=key,
                                 remedy=f"See what else is damaged: cragbench store check {self.path}")
            return unpack(blob)
        return None

    def damaged_traces(self) -> list[str]:
        """Keys of the trials whose recorded motion is not what was written."""
        rows = self._rows("SELECT key, npz, checksum FROM trace")
        return [key for key, blob, checksum in rows if checksum not in (NONE_KEPT, blob_check(blob))]

    def traced(self) -> set[str]:
        """Keys of the trials whose motion is stored."""
        return {row[0] for row in self._rows("SELECT key FROM trace")}

    def insert(self, statement: str, rows: Sequence[Sequence[Any]]) -> int:
        """Write rows of a table kept by another file, in one transaction; returns how many were new."""
        with self._transaction() as cursor:
            before = self._connection.total_changes
            cursor.executemany(statement, rows)
            return self._connection.total_changes - before

    def select(self, query: str, values: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows of a table kept by another file."""
        yield from self._rows(query, values)

    def _open(self) -> sqlite3.Connection:
        exists = self.path.exists()
        if not exists and not self.write:
            raise StoreError("no such store", file=self.path, remedy="Run a batch first, or check the path")
        if self.path.is_dir() or not self.path.absolute().parent.is_dir():
            raise StoreError("not a place for a store", file=self.path, remedy="Give a file in an existing folder")
        try:
            if exists:
                schema.inspect(self.path)
            connection = self._connect("rwc" if self.write else "ro")
            try:
                self._prepare(connection)
            except BaseException:
                connection.close()
                raise
        except (OSError, sqlite3.Error) as error:
            raise self._failed(error) from error
        return connection

    def _connect(self, mode: str) -> sqlite3.Connection:
        path = self.path.absolute()
        # Reading notes beside the file who reads; where nobody can write, nobody changes it, and none are needed.
        fixed = mode == "ro" and not os.access(path.parent, os.W_OK) and not Path(f"{path}-wal").exists()
        uri = f"{path.as_uri()}?mode={mode}{'&immutable=1' if fixed else ''}"
        return sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None)

    def _prepare(self, connection: sqlite3.Connection) -> None:
        if self.write:
            if schema.behind(connection):
                schema.upgrade(connection, self.path)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
        elif schema.behind(connection):
            with closing(self._connect("rw")) as writer:
                schema.upgrade(writer, self.path)
        connection.execute("SELECT count(*) FROM (SELECT key FROM trial LIMIT 1)").fetchone()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Cursor]:
        cursor = self._connection.cursor()
        try:
            cursor.execute("BEGIN IMMEDIATE")
            try:
                yield cursor
                cursor.execute("COMMIT")
            except BaseException:
                # A full disk may have rolled back already.
                if self._connection.in_transaction:
                    cursor.execute("ROLLBACK")
                raise
        except sqlite3.Error as error:
            raise self._failed(error) from error
        finally:
            cursor.close()

    def _rows(self, query: str, values: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        try:
            # Row by row: a delegated cursor would be closed with whoever leaves early, after its database.
            for row in self._connection.execute(query, values):  # noqa: UP028
                yield row
        except sqlite3.Error as error:
            raise self._failed(error) from error

    def _failed(self, error: Exception) -> StoreError:
        damaged = f"The file is damaged; copy what can still be read: cragbench store check {self.path} --rescue NEW"
        full = ("Free some space, or lift the limit on the size of files (ulimit -f), and run the same command again; "
                "finished trials are kept")
        barred = "Make the file and its folder writable"
        remedies = {
            "malformed": damaged,
            "not a database": damaged,
            "corrupt": damaged,
            "disk": full,
            "full": full,
            "locked": "Another program holds the store; wait for it or stop it",
            "readonly": barred,
            "unable to open": barred,
        }
        text = str(error)
        remedy = next((advice for word, advice in remedies.items() if word in text), None)
        return StoreError(text, file=self.path, remedy=remedy)


def pack(trace: Trace) -> bytes:
    """Motion as a compressed npz archive, single precision (1 part in 10 million of the largest value)."""
    buffer = io.BytesIO()
    names = [f.name for f in fields(Trace) if f.name != "interval"]
    arrays = {name: np.asarray(getattr(trace, name), dtype=np.float32) for name in names}
    np.savez_compressed(buffer, allow_pickle=False, interval=np.float64(trace.interval), **arrays)
    return buffer.getvalue()


def unpack(blob: bytes) -> Trace:
    """Inverse of :func:`pack`; never runs anything from the blob."""
    with np.load(io.BytesIO(blob), allow_pickle=False) as archive:
        arrays = {f.name: archive[f.name].astype(np.float64) for f in fields(Trace) if f.name != "interval"}
        return Trace(interval=float(archive["interval"]), **arrays)


def _row(key: str, report: Report, versions: Versions) -> tuple[Any, ...]:
    t = report.task
    where = (t.config, t.obstacle, t.level, t.yard, t.driver, t.study_seed, t.repeat, t.draw.text())
    model = versions.models.get(t.config, "")
    return (key, *where, versions.code, versions.engine, model, *astuple(report.record))


def _record(row: Sequence[Any]) -> Record:
    # SQLite keeps a NaN as NULL.
    return Record(*row[:2], *(float("nan") if value is None else value for value in row[2:]))


def _trial(row: Sequence[Any]) -> Trial:
    key, config, obstacle, level, yard, driver, seed, repeat, luck, code, engine, model = row[:12]
    task = Task(config, obstacle, level, yard, driver, seed, repeat, Draw.from_text(luck))
    return Trial(key, task, Versions(code, engine, {config: model}), _record(row[12:]))
