"""A store gone through row by row, and what is good of it copied into a new one."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.errors import StoreError
from sim.store.integrity import NONE_KEPT, Damaged, blob_check, described, facts_of, fault
from sim.store.store import COLUMNS, EFFORT, Store

_COLUMNS = (*COLUMNS, *EFFORT)
_TRUCK = ("hash", "name", "facts", "checksum")


@dataclass(frozen=True)
class Survey:
    """What a store holds."""

    trials: int
    """Good ones."""
    unchecked: int
    """Of them without a check value."""
    damaged: tuple[Damaged, ...]
    traces: tuple[str, ...]
    """Keys whose recorded motion is damaged."""
    undescribed: tuple[str, ...]
    """Hashes of trucks that have trials and no description."""
    descriptions: tuple[str, ...]
    """Names of trucks whose description is damaged."""
    unreadable: str
    """What the database says of the part that it cannot read."""
    rescued: int = 0

    @property
    def bad(self) -> bool:
        """Whether anything is wrong."""
        return bool(self.damaged or self.traces or self.descriptions or self.unreadable)


def inspect(path: Path, rescue: Path | None = None) -> Survey:
    """Check every row, and copy the good ones into a new store if one is named.

    :raises StoreError: Not a store, or the new file is there already.
    """
    if rescue is not None and rescue.exists():
        raise StoreError("is there already", file=rescue, remedy="Name a new file")
    with Store(path) as store:
        trials, trouble = _salvaged(store, "trial", (*_COLUMNS, "checksum"))
        traces, more = _salvaged(store, "trace", ("key", "npz", "checksum"))
        told = [trouble, more, _integrity(store)]
        good, damaged = [], []
        for row in trials:
            values = dict(zip(_COLUMNS, row, strict=False))
            why = fault(values, row[-1])
            if why:
                damaged.append(Damaged(str(values["key"]), described(values), why))
            else:
                good.append(row)
        sound = [row for row in traces if row[2] in (NONE_KEPT, blob_check(row[1]))]
        lost = [row[0] for row in traces if row[2] not in (NONE_KEPT, blob_check(row[1]))]
        trucks, trouble = _salvaged(store, "configuration", _TRUCK)
        told.append(trouble)
        others = {name: _salvaged(store, name, columns)[0] for name, columns in _OTHERS.items()}
    sound_trucks = [row for row in trucks if facts_of(row) is not None]
    ill_described = [str(row[1]) for row in trucks if facts_of(row) is None]
    undescribed = sorted({str(row[1]) for row in good} - {row[0] for row in trucks})
    if rescue is not None:
        with Store(rescue, write=True) as new:
            new.insert(_into("configuration", _TRUCK), sound_trucks)
            for name, columns in _OTHERS.items():
                new.insert(_into(name, columns), others[name])
            new.insert(_into("trial", (*_COLUMNS, "checksum")), good)
            kept = {row[0] for row in good}
            new.insert(_into("trace", ("key", "npz", "checksum")), [row for row in sound if row[0] in kept])
    return Survey(
        len(good), sum(row[-1] == NONE_KEPT for row in good), tuple(damaged), tuple(lost), tuple(undescribed),
        tuple(ill_described), next(filter(None, told), ""), len(good) if rescue is not None else 0,
    )  # fmt: skip


_OTHERS: dict[str, tuple[str, ...]] = {
    "plan": ("hash", "name", "text"),
    "attempt": ("key", "config", "day", "line", "obstacle", "level", "surface", "configuration", "driver", "outcome",
                "reason", "note", "video", "battery", "weather", "simulated"),
}


def _into(table: str, columns: tuple[str, ...]) -> str:
    holders = ", ".join("?" * len(columns))
    return f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({holders})"  # noqa: S608 - constants


def _salvaged(store: Store, table: str, columns: tuple[str, ...]) -> tuple[list[tuple[Any, ...]], str]:
    """Rows of a table from both ends towards a place that cannot be read, and what is said of that place."""
    rows: dict[tuple[Any, ...], None] = {}
    trouble = ""
    for way in ("ASC", "DESC"):
        query = f"SELECT {', '.join(columns)} FROM {table} ORDER BY {columns[0]} {way}"  # noqa: S608 - constants
        try:
            for row in store.select(query):
                rows[row] = None
        except StoreError as error:
            trouble = error.problem
            continue
        break
    return list(rows), trouble


def _integrity(store: Store) -> str:
    try:
        said = next(store.select("PRAGMA integrity_check(1)"))[0]
    except (StoreError, StopIteration, sqlite3.Error) as error:
        return str(getattr(error, "problem", error))
    return "" if said == "ok" else str(said).splitlines()[-1]
