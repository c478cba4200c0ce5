"""Changes made to a sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from models.change import Change, Move, Replacement
from models.checks import check_sheet
from models.errors import BuildSheetError
from models.nearest import meant
from models.record import validated
from models.setting import set_keys, unset_keys
from models.spec import Sheet
from models.together import check_together

Data = dict[str, Any]


def apply(sheet: Sheet, changes: Sequence[Change]) -> Sheet:
    """Make changes to a sheet as loaded (before defaults are filled in) and check what comes out.

    The order in which changes are given does not count: they are taken by name, and of all of them first what is
    removed, then replaced, added, moved, unset and set. A part that one change replaces is still found by its old
    name by the others.

    :raises BuildSheetError: changes that exclude each other or touch the same thing, a part or key that is not there,
        a value that is not valid, or a truck that cannot exist.
    """
    if not changes:
        return sheet
    changes = sorted(changes, key=lambda change: change.name)
    check_together(sheet, changes)
    data = _editable(sheet.model_dump(by_alias=True, exclude_unset=True))
    data.setdefault("hull", [])
    data.pop("weighed", None)  # of the truck before the change
    names: dict[str, str] = {}
    for step in (_remove, _replace, _add, _move, unset_keys, set_keys):
        for change in changes:
            with _told_of(change.name):
                step(data, change, names)
    with _told_of(" + ".join(change.name for change in changes)):
        changed = validated(Sheet, data)
        check_sheet(changed)
    return changed


@contextmanager
def _told_of(change: str) -> Iterator[None]:
    """Say in any fault inside which change it came from."""
    try:
        yield
    except BuildSheetError as fault:
        raise fault.at(change=change) from None


def _editable(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _editable(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_editable(entry) for entry in value]
    return value


def _remove(data: Data, change: Change, names: dict[str, str]) -> None:
    for name in change.remove:
        data["parts"].remove(_find(data["parts"], name, "remove", names))
        data["hull"] = [shape for shape in data["hull"] if shape["name"] != name]


def _replace(data: Data, change: Change, names: dict[str, str]) -> None:
    for replacement in change.replace:
        old = _find(data["parts"], replacement.part, "replace", names)
        new = _new_part(old, replacement)
        if new["name"] != old["name"]:
            names[old["name"]] = new["name"]
            for shape in _skin(data, old["name"]):
                shape["name"] = new["name"]
        offset = [to - at for to, at in zip(new["at_mm"], old["at_mm"], strict=True)]
        _shift(_skin(data, new["name"]), offset)
        data["parts"][data["parts"].index(old)] = new


def _new_part(old: Data, replacement: Replacement) -> Data:
    given = replacement.model_dump(exclude_unset=True, exclude={"part"})
    # What the old part cost and how it was weighed says nothing about the new one.
    gone = ("price", "currency", "source", "place_source", "note")
    kept = {key: value for key, value in old.items() if key not in gone}
    if "body" in given and given["body"] != old.get("body"):
        kept = {key: value for key, value in kept.items() if key not in ("mass_g", "mass_each_g")}
    return {**kept, **given}


def _add(data: Data, change: Change, names: dict[str, str]) -> None:
    data["parts"] += [part.model_dump(exclude_unset=True) for part in change.add]
    data["hull"] += [shape.model_dump(exclude_unset=True) for shape in change.add_hull]


def _move(data: Data, change: Change, names: dict[str, str]) -> None:
    for move in change.move:
        for part in _moved(data, move, names):
            offset = _offset(part, move)
            _shift([part, *_skin(data, part["name"])], offset)


def _moved(data: Data, move: Move, names: dict[str, str]) -> list[Data]:
    if move.part is not None:
        return [_find(data["parts"], move.part, "move", names)]
    return [part for part in data["parts"] if part.get("body", "chassis") == move.body]


def _offset(part: Data, move: Move) -> list[float]:
    if move.by_mm is not None:
        return list(move.by_mm)
    return [to - at for to, at in zip(move.to_mm or part["at_mm"], part["at_mm"], strict=True)]


def _shift(things: Iterable[Data], offset: Sequence[float]) -> None:
    for thing in things:
        thing["at_mm"] = [at + by for at, by in zip(thing["at_mm"], offset, strict=True)]


def _skin(data: Data, name: str) -> list[Data]:
    return [shape for shape in data["hull"] if shape["name"] == name]


def _find(parts: list[Data], name: str, field: str, names: Mapping[str, str]) -> Data:
    current = names.get(name, name)
    found = next((part for part in parts if part["name"] == current), None)
    if found is None:
        known = [str(part["name"]) for part in parts]
        raise BuildSheetError("this truck has no such part.", field=field, value=name,
                              remedy=meant(name, known, f"Parts of this truck: {', '.join(sorted(known))}."))
    return found
