"""Dotted keys: how a place in a sheet is named, in messages, in changes and in the list of what was assumed.

``axles.front.track_mm``; an entry of a list is named by its own ``name`` (``parts.battery.at_mm``), in quotes when
that is not a bare word (``parts."front bumper".mass_g``), or counted from 1 when it has none (``squish.2``).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STEP = re.compile(r'([A-Za-z0-9_-]+)|"([^"]*)"|\'([^\']*)\'')
_AXES = ("x", "y", "z")


def split(key: str) -> list[str]:
    """Split a dotted key into its steps.

    :raises ValueError: an empty step or a quote left open.
    """
    steps, at = [], 0
    while True:
        step = _STEP.match(key, at)
        if step is None:
            raise ValueError(f"not a dotted key: {key}")
        steps.append(next(group for group in step.groups() if group is not None))
        at = step.end()
        if at == len(key):
            return steps
        if key[at] != ".":
            raise ValueError(f"not a dotted key: {key}")
        at += 1


def join(steps: Sequence[str]) -> str:
    """Put steps together to a dotted key, quoting those that need it."""
    return ".".join(step if _BARE.fullmatch(step) else f'"{step}"' for step in steps)


def dotted(location: Sequence[str | int], data: Any) -> str:
    """Name a place given by keys and list indices, using the names the data has there."""
    steps: list[str] = []
    for step in location:
        if isinstance(step, int):
            steps.append(_entry(step, data, steps[-1] if steps else ""))
        else:
            steps.append(step)
        data = _below(data, step)
    return join(steps)


def _entry(index: int, entries: Any, key: str) -> str:
    entry = _below(entries, index)
    name = entry.get("name") if isinstance(entry, Mapping) else None
    if isinstance(name, str) and name:
        return name
    if key.endswith("_mm") and index < len(_AXES):
        return _AXES[index]
    return str(index + 1)


def index_of(entries: Sequence[Any], step: str) -> int | None:
    """Find the entry of a list that a step of a dotted key means: by name, by axis, or counted from 1."""
    for index, entry in enumerate(entries):
        if isinstance(entry, Mapping) and entry.get("name") == step:
            return index
    if step in _AXES and len(entries) == len(_AXES) and not isinstance(entries[0], Mapping):
        return _AXES.index(step)
    if step.isdecimal() and 1 <= int(step) <= len(entries):
        return int(step) - 1
    return None


def leading_somewhere(keys: Iterable[str], data: Any) -> tuple[str, ...]:
    """Those dotted keys that name something the data has, in their order.

    Names are looked up in a table of each list: a sheet of a thousand parts has as many keys as parts.
    """
    tables: dict[int, dict[Any, int]] = {}

    def leads(key: str) -> bool:
        try:
            steps = split(key)
        except ValueError:
            return False
        here = data
        for step in steps:
            found: str | int | None = step
            if isinstance(here, Sequence) and not isinstance(here, str):
                if id(here) not in tables:
                    tables[id(here)] = _by_name(here)
                found = tables[id(here)].get(step)
                found = index_of(here, step) if found is None else found
            here = None if found is None else _below(here, found)
            if here is None:
                return False
        return True

    return tuple(key for key in keys if leads(key))


def _by_name(entries: Sequence[Any]) -> dict[str, int]:
    """Index of the first entry of each name."""
    names: dict[str, int] = {}
    for index, entry in enumerate(entries):
        name = entry.get("name") if isinstance(entry, Mapping) else None
        if isinstance(name, str):
            names.setdefault(name, index)
    return names


def order_in(data: Any, key: str) -> tuple[int, ...]:
    """Where a dotted key stands in the file that the data were read from, missing keys after the others."""
    try:
        steps = split(key)
    except ValueError:
        return ()
    order = []
    for step in steps:
        found: str | int | None = step
        if isinstance(data, Mapping):
            names = list(data)
            order.append(names.index(step) if step in data else len(names))
        elif isinstance(data, Sequence) and not isinstance(data, str):
            found = index_of(data, step)
            order.append(len(data) if found is None else int(found))
        data = None if found is None else _below(data, found)
        if data is None:
            break
    return tuple(order)


def _below(data: Any, step: str | int) -> Any:
    try:
        return data[step]
    except (KeyError, IndexError, TypeError):
        return None
