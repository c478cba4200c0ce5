"""Check values: what tells a stored trial that is as it was written from one that is not.

A check value is a hash over everything in the row; it guards against flipped bits and rows from elsewhere, not against
somebody who wants to deceive.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any

from sim.trial.result import OUTCOMES, Record

INTEGERS = ("study_seed", "repeat", "belly_strikes")
TEXTS = ("key", "config", "obstacle", "yard", "driver", "draw", "code", "engine", "model", "outcome", "reason")
NEEDED = tuple(f.name for f in fields(Record) if f.metadata and f.default is MISSING)
"""Measures that every stored trial has; those with a default came later."""
NONE_KEPT = ""
"""In rows of stores from before check values were kept."""


@dataclass(frozen=True)
class Damaged:
    """A row that cannot be used."""

    key: str
    trial: str
    """Which one it is, for people; as far as the row still tells."""
    why: str


def stored_form(columns: Sequence[str], values: Sequence[Any]) -> tuple[Any, ...]:
    """Values as the store gives them back: numbers of their column's kind, and nothing for NaN."""
    return tuple(_as_stored(name, value) for name, value in zip(columns, values, strict=True))


def _as_stored(name: str, value: Any) -> Any:
    if value is None or name in TEXTS:
        return value
    if name in INTEGERS:
        return int(value)
    return None if math.isnan(value) else float(value)


def check_value(values: Sequence[Any]) -> str:
    """Hash of a row in its stored form, 16 hexadecimal digits; what is not there does not count: measures are added."""
    there = tuple(value for value in values if value is not None)
    return hashlib.blake2b(repr(there).encode(), digest_size=8).hexdigest()


def blob_check(blob: bytes) -> str:
    """Hash of a recorded motion, 16 hexadecimal digits."""
    return hashlib.blake2b(blob, digest_size=8).hexdigest()


def facts_of(row: Sequence[Any]) -> dict[str, Any] | None:
    """What is known of a truck from its row (hash, name, facts, check value); None if that is not what was written."""
    *values, checksum = row
    if checksum != NONE_KEPT and checksum != check_value(values):
        return None
    try:
        facts = json.loads(values[2])
    except (TypeError, ValueError, RecursionError):
        return None
    return facts if isinstance(facts, dict) and isinstance(values[1], str) else None


def fault(row: dict[str, Any], checksum: Any) -> str:
    """What is wrong with a row, nothing if it can be used."""
    if checksum != NONE_KEPT and checksum != check_value(tuple(row.values())):
        return "is not what was written"
    if row["outcome"] not in OUTCOMES:
        return f"has an outcome that does not exist ({row['outcome']!r})"
    if row["outcome"] != "invalid":
        for name in NEEDED:
            if not isinstance(row[name], int | float):
                return f"has no {name}"
    return ""


def described(row: dict[str, Any]) -> str:
    """Which trial a row is of."""
    level = f"{row['level']:g}" if isinstance(row["level"], float) else repr(row["level"])
    return f"{row['obstacle']}, level {level}, {row['driver']}, repeat {row['repeat']}, truck {row['config']}"
