"""A sheet being worked on: what it was when opened, every step since, and a draft of it on the disk.

All windows of the page that show one sheet share one desk, so that they cannot work against each other.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from models.conflict import Surroundings
from models.defaults import resolve
from models.sheet import load_sheet
from models.spec import HullShape, Part, Sheet
from sim.page.edits import Edits, Place
from sim.page.folder import Folder

Thing = TypeVar("Thing", Part, HullShape)
MOST_STEPS = 500
"""Steps that can be undone."""


class Desk:
    """One sheet on the page."""

    def __init__(self, folder: Folder, name: str) -> None:
        """Open a sheet of the folder, and the draft of an earlier session if its file is still the same.

        :raises BuildSheetError, SimError: it cannot be read.
        """
        self.name = name
        self.file = folder.existing(name, ".toml")
        self.lock = threading.RLock()
        self.revision = 0
        """Grows with every step, so that another window sees that it is behind."""
        self.kept_draft = False
        """Whether unsaved work of an earlier session was found."""
        self.saved_as = ""
        """The change that was saved last, which is what will be asked about next."""
        self._draft = folder.own() / f"draft-{hashlib.sha256(name.encode()).hexdigest()[:16]}.json"
        self._reload()
        self._recall()

    def _reload(self) -> None:
        self.opened: Sheet = load_sheet(self.file)
        self.fingerprint = fingerprint(self.file)
        self._steps: list[Edits] = [Edits()]
        self._at = 0
        self._saved = Edits()
        self._kept: tuple[Edits, Sheet] | None = None
        self._around: list[tuple[tuple[tuple[str, ...], Edits], Surroundings]] = []

    def _recall(self) -> None:
        try:
            data = json.loads(self._draft.read_text(encoding="utf-8"))
            edits = Edits.of_data(data["edits"])
            if data["fingerprint"] == self.fingerprint and edits:
                edits.on(self.opened)
                self._steps.append(edits)
                self._at, self.kept_draft = 1, True
        except (OSError, ValueError, KeyError, TypeError, IndexError):
            return

    @property
    def edits(self) -> Edits:
        """What is done by now."""
        return self._steps[self._at]

    @property
    def unsaved(self) -> bool:
        """Whether something is done that no file holds."""
        return self.edits != self._saved

    @property
    def can(self) -> tuple[bool, bool]:
        """Whether there is a step to undo, and one to redo."""
        return self._at > 0, self._at + 1 < len(self._steps)

    def sheet(self, edits: Edits | None = None) -> Sheet:
        """Return the sheet with the edits made."""
        return (self.edits if edits is None else edits).on(self.opened)

    def do(self, step: Callable[[Edits], Edits]) -> None:
        """Take one step from where the desk stands now.

        :raises BuildSheetError: it does not make a truck; nothing is done then.
        """
        with self.lock:
            edits = step(self.edits)
            edits.on(self.opened)
            if edits != self.edits:
                self._steps = [*self._steps[: self._at + 1], edits][-MOST_STEPS:]
                self._go(len(self._steps) - 1)

    def undo(self) -> None:
        """Go one step back."""
        with self.lock:
            self._go(max(0, self._at - 1))

    def redo(self) -> None:
        """Go one step forward again."""
        with self.lock:
            self._go(min(len(self._steps) - 1, self._at + 1))

    def _go(self, at: int) -> None:
        self._at = at
        self.revision += 1
        self.kept_draft = False
        part = self._draft.with_suffix(".part")
        part.write_text(json.dumps({"sheet": self.name, "fingerprint": self.fingerprint,
                                    "edits": self.edits.as_data()}), encoding="utf-8")
        part.replace(self._draft)

    def around(self, edits: Edits, parts: Sequence[str]) -> Surroundings:
        """Return what is about some parts, kept while only these are moved.

        What overlaps a part where the sheet has it is taken as meant; a part that was put on has no such place.
        """
        rest = replace(edits, places={k: v for k, v in edits.places.items() if k not in parts})
        key = (tuple(parts), rest)
        with self.lock:
            for known, found in self._around:
                if known == key:
                    return found
            new = {str(part["name"]) for part in edits.added}
            made = Surroundings(rest.on(self.opened), parts, meant=not new & set(parts))
            self._around = [*self._around[-7:], (key, made)]
            return made

    def carried(self, edits: Edits, names: Sequence[str]) -> tuple[Sheet, Sheet]:
        """Return the resolved sheet as it is kept, and the same with some parts where the edits have them.

        Every step of a hand on the drawing asks for this: parts and their hull are put elsewhere in the sheet that is
        there, which is not checked and filled in again.
        """
        with self.lock:
            if self._kept is None or self._kept[0] != self.edits:
                self._kept = (self.edits, resolve(self.sheet()))
            base = self._kept[1]
            known = {part.name: part.at_mm for part in self.opened.parts}
            by = {}
            for part in base.parts:
                place = edits.place(part.name, known) if part.name in names else None
                if place is not None:
                    by[part.name] = tuple(to - at for to, at in zip(place, part.at_mm, strict=True))
            return base, base.model_copy(update={"parts": _shifted(base.parts, by), "hull": _shifted(base.hull, by)})

    def mark_saved(self) -> None:
        """Remember that a file holds what is on the desk."""
        with self.lock:
            self._saved = self.edits
            self._draft.unlink(missing_ok=True)
            self.revision += 1

    def changed_on_disk(self) -> bool:
        """Whether the file is no longer the one that was opened."""
        return fingerprint(self.file) != self.fingerprint

    def reopen(self) -> None:
        """Start again from the file as it is now.

        :raises BuildSheetError: it cannot be read any more.
        """
        with self.lock:
            self._reload()
            self._draft.unlink(missing_ok=True)
            self.revision += 1


def _shifted(things: Sequence[Thing], by: Mapping[str, Sequence[float]]) -> tuple[Thing, ...]:
    def at(thing: Thing) -> Place:
        x, y, z = (a + d for a, d in zip(thing.at_mm, by[thing.name], strict=True))
        return x, y, z

    return tuple(one.model_copy(update={"at_mm": at(one)}) if one.name in by else one for one in things)


def fingerprint(file: Path) -> str:
    """Hash of a file's content; empty if it is gone."""
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError:
        return ""
