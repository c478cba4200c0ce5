"""The store's tables, their version, and how an older file becomes a newer one."""

from __future__ import annotations

import sqlite3
import struct
from pathlib import Path

from sim.errors import StoreError
from sim.trial.result import RECORD_COLUMNS

APPLICATION_ID = 0x43524147
"""Marks a SQLite file as a store of this project (the letters CRAG in its header)."""

_CREATE = (
    """CREATE TABLE configuration (
        hash TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        facts TEXT NOT NULL
    ) WITHOUT ROWID""",
    """CREATE TABLE trial (
        key TEXT PRIMARY KEY,
        config TEXT NOT NULL,
        obstacle TEXT NOT NULL,
        level REAL NOT NULL,
        yard TEXT NOT NULL,
        driver TEXT NOT NULL,
        study_seed INTEGER NOT NULL,
        repeat INTEGER NOT NULL,
        draw TEXT NOT NULL,
        code TEXT NOT NULL,
        engine TEXT NOT NULL,
        outcome TEXT NOT NULL,
        reason TEXT NOT NULL,
        time_s REAL,
        distance_mm REAL,
        min_margin_deg REAL,
        margin_p5_deg REAL,
        slip REAL,
        belly_strikes INTEGER,
        peak_current_a REAL,
        servo_saturation REAL,
        energy_j REAL,
        max_sink_mm REAL,
        wall_s REAL,
        finished_at REAL
    ) WITHOUT ROWID""",
    """CREATE TABLE trace (
        key TEXT PRIMARY KEY REFERENCES trial (key),
        npz BLOB NOT NULL
    )""",
)
_PLANS = (
    """CREATE TABLE plan (
        hash TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        text TEXT NOT NULL
    ) WITHOUT ROWID""",
    "CREATE INDEX trial_by_cell ON trial (obstacle, level, driver, config)",
)
_ATTEMPTS = (
    """CREATE TABLE attempt (
        key TEXT PRIMARY KEY,
        config TEXT NOT NULL,
        day TEXT NOT NULL,
        line TEXT NOT NULL,
        obstacle TEXT NOT NULL,
        level REAL NOT NULL,
        surface TEXT NOT NULL,
        configuration TEXT NOT NULL,
        driver TEXT NOT NULL,
        outcome TEXT NOT NULL,
        reason TEXT NOT NULL,
        note TEXT NOT NULL,
        video TEXT NOT NULL,
        battery TEXT NOT NULL,
        weather TEXT NOT NULL,
        simulated INTEGER NOT NULL
    ) WITHOUT ROWID""",
)
_CHECKS = (
    "ALTER TABLE trial ADD COLUMN model TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE trial ADD COLUMN checksum TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE trace ADD COLUMN checksum TEXT NOT NULL DEFAULT ''",
    """CREATE TABLE claim (
        key TEXT PRIMARY KEY,
        owner TEXT NOT NULL,
        until REAL NOT NULL
    ) WITHOUT ROWID""",
)
_CHECKED_TRUCKS = ("ALTER TABLE configuration ADD COLUMN checksum TEXT NOT NULL DEFAULT ''",)
MIGRATIONS: tuple[tuple[str, ...], ...] = (_CREATE, _PLANS, _ATTEMPTS, _CHECKS, _CHECKED_TRUCKS)
"""``MIGRATIONS[n]`` takes a file from version n to n + 1; a new file goes through all of them."""
VERSION = len(MIGRATIONS)


def behind(connection: sqlite3.Connection) -> bool:
    """Whether a store was written before the present tables and measures."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return version < VERSION or bool(_missing(connection))


def _missing(connection: sqlite3.Connection) -> list[str]:
    """Measures that the table of trials has no column for yet."""
    have = {row[1] for row in connection.execute("PRAGMA table_info(trial)")}
    return [name for name in RECORD_COLUMNS if name not in have]


_HEADER = struct.Struct(">16sH")
_SIZE_AT, _USER_VERSION_AT, _APPLICATION_AT = 28, 60, 68


def inspect(path: Path) -> None:
    """Look at an existing file's first 100 bytes, without opening it as a database.

    :raises StoreError: Not a SQLite file, not a store of this project, a store from a newer version, or cut short.
    """
    if not path.is_file():
        raise StoreError("not a regular file", file=path, remedy="Name the store itself")
    with path.open("rb") as file:
        header = file.read(100)
    if not header:
        return
    if len(header) < 100 or not header.startswith(b"SQLite format 3\0"):
        raise StoreError("not a store", file=path, remedy="Give another file name; this file was left as it is")
    _, page_size = _HEADER.unpack_from(header)
    size_in_pages, version, application = (
        int.from_bytes(header[at : at + 4], "big") for at in (_SIZE_AT, _USER_VERSION_AT, _APPLICATION_AT)
    )
    if application != APPLICATION_ID:
        raise StoreError(
            "a database, but not a store of cragbench",
            file=path,
            remedy="Give another file name; this file was left as it is",
        )
    if version > VERSION:
        raise StoreError(
            f"written by a newer cragbench (store version {version}, this one knows {VERSION})",
            file=path,
            remedy="Install that version; this file was left as it is",
        )
    promised = size_in_pages * (65536 if page_size == 1 else page_size)
    if path.stat().st_size < promised and not _has_log(path):
        raise StoreError(
            f"cut short: {path.stat().st_size} of {promised} bytes",
            file=path,
            remedy="Take a copy from before, or start a new store; this file was left as it is",
        )


def upgrade(connection: sqlite3.Connection, path: Path) -> None:
    """Bring an open database to :data:`VERSION`, in one transaction; a concurrent opener waits for it."""
    connection.execute("BEGIN EXCLUSIVE")
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version > VERSION:
            raise StoreError("written by a newer cragbench", file=path, remedy="Install that version")
        for statements in MIGRATIONS[version:]:
            for statement in statements:
                connection.execute(statement)
        for name in _missing(connection):
            connection.execute(f"ALTER TABLE trial ADD COLUMN {name} REAL")
        # The two marks stand in the file's header, inside the same transaction.
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _has_log(path: Path) -> bool:
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0
