"""Attempts in the store, beside the trials they are compared with."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, fields

from sim.reality.attempt_file import Attempt
from sim.store.store import Store

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
