"""Dotted keys of a change set to new values, or set back to open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from models.change import Change
from models.errors import BuildSheetError
from models.key import index_of, join, split
from models.nearest import meant

_FIXED = ("schema", "name", "scale", "assumed")


def settings(change: Change) -> list[tuple[list[str], Any]]:
    """List the keys (as steps) and values of [set], whether dotted in quotes or written as TOML's own tables."""

    def below(path: list[str], table: Mapping[str, Any]) -> Iterator[tuple[list[str], Any]]:
        for key, value in table.items():
            steps = [*path, key] if path else steps_of(key)
            if isinstance(value, Mapping):
                yield from below(steps, value)
            else:
                yield steps, value

    return list(below([], change.set))


def steps_of(key: str) -> list[str]:
    """Split a dotted key of a change.

    :raises BuildSheetError: it is none.
    """
    try:
        return split(key)
    except ValueError:
        raise BuildSheetError("this is not a dotted key.", remedy='Write it like "tyres.front.grip".', field="set",
                              value=key) from None


def set_keys(data: dict[str, Any], change: Change, names: Mapping[str, str]) -> None:
    """Put the values of [set] into the data of a sheet; an unknown last key is left to the validator.

    :raises BuildSheetError: the key leads nowhere, or to what a change may not touch.
    """
    for steps, value in settings(change):
        table, key = _place(data, steps, names)
        table[key] = value
        _no_longer_assumed(data, steps)


def unset_keys(data: dict[str, Any], change: Change, names: Mapping[str, str]) -> None:
    """Take the keys of ``unset`` out of the data of a sheet.

    :raises BuildSheetError: the key leads nowhere, or the sheet does not give it.
    """
    for dotted in change.unset:
        table, key = _place(data, steps_of(dotted), names)
        if not isinstance(table, dict) or key not in table:
            raise BuildSheetError("the sheet does not give this key.", remedy="Leave it out of unset.", field="unset",
                                  value=dotted)
        del table[key]


def _place(data: dict[str, Any], steps: list[str], names: Mapping[str, str]) -> tuple[Any, Any]:
    """Find the table or list that holds a key, and the key or index in it."""
    if steps[0] in _FIXED:
        raise BuildSheetError("a change cannot set this.",
                              remedy="It belongs to the build sheet; make another sheet for another truck.",
                              field=join(steps))
    held: Any = data
    for count, step in enumerate(steps):
        key = _key(held, step, steps[: count + 1], names)
        if count == len(steps) - 1:
            return held, key
        if isinstance(held, dict):
            held.setdefault(key, {})
        held = held[key]
    raise AssertionError("a dotted key has at least one step")


def _key(held: Any, step: str, path: list[str], names: Mapping[str, str]) -> Any:
    if isinstance(held, dict):
        return step
    if isinstance(held, list):
        index = index_of(held, names.get(step, step))
        if index is not None:
            return index
        known = [str(entry["name"]) for entry in held if isinstance(entry, Mapping) and "name" in entry]
        otherwise = f"There are: {', '.join(known)}." if known else f"It has {len(held)} entries, counted from 1."
        raise BuildSheetError("there is no such entry.", remedy=meant(step, known, otherwise), field=join(path))
    raise BuildSheetError(f"{join(path[:-1])} is a single value, nothing is below it.", remedy="Shorten the key.",
                          field=join(path))


def _no_longer_assumed(data: dict[str, Any], steps: list[str]) -> None:
    if "assumed" in data:
        data["assumed"] = [key for key in data["assumed"] if key != join(steps)]
