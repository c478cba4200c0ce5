"""What was done to a sheet on the page: places, values, parts taken off and put on; one record per step of undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from models.change import Change
from models.edit import apply
from models.record import validated
from models.room import find
from models.spec import Sheet

Place = tuple[float, float, float]


@dataclass(frozen=True)
class Edits:
    """Everything that differs from the sheet that was opened."""

    places: Mapping[str, Place] = field(default_factory=dict)
    """mm, by the part's name."""
    values: Mapping[str, Any] = field(default_factory=dict)
    """By dotted key."""
    added: tuple[Mapping[str, Any], ...] = ()
    """Parts as a sheet would hold them."""
    removed: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything differs."""
        return bool(self.places or self.values or self.added or self.removed)

    def moved(self, sheet: Sheet, places: Mapping[str, Place]) -> Edits:
        """Return the edits with parts put elsewhere; a part put back where the sheet has it is no edit.

        :param sheet: The sheet that was opened.
        """
        own = {str(part["name"]) for part in self.added}
        now = dict(self.places)
        for name, place in places.items():
            if name not in own and tuple(find(sheet, name).at_mm) == place:
                now.pop(name, None)
            elif name not in own:
                now[name] = place
        added = tuple(
            {**part, "at_mm": list(places[str(part["name"])])} if part["name"] in places else part
            for part in self.added
        )
        return replace(self, places=now, added=added)

    def place(self, name: str, opened: Mapping[str, Place]) -> Place | None:
        """Return where a part is, mm; None if there is no such part."""
        own = next((part for part in self.added if part["name"] == name), None)
        if own is not None:
            x, y, z = own["at_mm"]
            return float(x), float(y), float(z)
        return self.places.get(name, opened.get(name))

    def valued(self, key: str, value: Any) -> Edits:
        """Return the edits with a value set."""
        return replace(self, values={**self.values, key: value})

    def with_part(self, part: Mapping[str, Any]) -> Edits:
        """Return the edits with a part put on."""
        return replace(self, added=(*self.added, dict(part)))

    def without(self, name: str) -> Edits:
        """Return the edits with a part taken off."""
        if any(part["name"] == name for part in self.added):
            return replace(self, added=tuple(part for part in self.added if part["name"] != name))
        places = {part: place for part, place in self.places.items() if part != name}
        return replace(self, places=places, removed=(*self.removed, name))

    def change(self, name: str) -> Change:
        """Return the same as a change.

        :raises BuildSheetError: something in it cannot be in a change.
        """
        return validated(Change, self.as_change(name))

    def as_change(self, name: str) -> dict[str, Any]:
        """Return what a change file would hold."""
        data: dict[str, Any] = {"schema": 1, "name": name}
        if self.removed:
            data["remove"] = list(self.removed)
        if self.values:
            data["set"] = dict(self.values)
        if self.added:
            data["add"] = [dict(part) for part in self.added]
        if self.places:
            data["move"] = [{"part": part, "to_mm": list(place)} for part, place in self.places.items()]
        return data

    def on(self, sheet: Sheet) -> Sheet:
        """Return the sheet as it is with these edits.

        :raises BuildSheetError: they do not make a truck.
        """
        return apply(sheet, [self.change("on the page")]) if self else sheet

    def as_data(self) -> dict[str, Any]:
        """Return plain data to keep."""
        return {"places": {k: list(v) for k, v in self.places.items()}, "values": dict(self.values),
                "added": [dict(part) for part in self.added], "removed": list(self.removed)}

    @staticmethod
    def of_data(data: Mapping[str, Any]) -> Edits:
        """Return edits from what :meth:`as_data` gave."""
        places = {str(k): (float(v[0]), float(v[1]), float(v[2])) for k, v in data["places"].items()}
        return Edits(places, dict(data["values"]), tuple(data["added"]), tuple(data["removed"]))
