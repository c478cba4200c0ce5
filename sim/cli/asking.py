"""Readings asked for one by one at the keyboard and kept in the file after every answer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomlkit
import typer

from models.bench.procedure import PACK_CAUTION
from models.bench.quantity import Kind
from models.bench.typed_readings import several
from models.bench.unit_slips import WHEELS
from models.errors import BuildSheetError, writing
from models.spec import Sheet
from sim.cli.console import note, say

DONE = ""


class _Notebook:
    """Answers so far, written down at once."""

    def __init__(self, file: Path, truck: str) -> None:
        if file.exists():
            raise BuildSheetError("is there already; readings are never overwritten.",
                                  remedy="Name another file, or leave --ask out to work that one out.", file=file)
        self.file = file
        self.data: dict[str, Any] = {"schema": 1, "truck": truck}

    def keep(self) -> None:
        with writing(self.file, "Name a file in an existing folder."):
            self.file.write_text(tomlkit.dumps(self.data), encoding="utf-8")


def ask_for_readings(file: Path, sheet: Sheet | None, prompt: Callable[[str], str] | None = None) -> None:
    """Ask for a weighing and write it to a new readings file; what was answered is safe at any moment.

    :raises BuildSheetError: the file is there already or cannot be written.
    """
    ask = prompt or (lambda text: str(typer.prompt(text, default=DONE, show_default=False)))
    name = sheet.name if sheet is not None else ask("Name of the truck").strip() or "truck"
    book = _Notebook(file, name)
    book.keep()
    say("Answer with units: 336 g, 11.9 oz, 134 mm. Several readings of one thing with commas between. "
        "Enter alone skips, but for what is marked needed.")
    say(f"CAUTION: {PACK_CAUTION} Weigh with the pack in if you drive with it in, then take it out.")
    try:
        _questions(book, ask, sheet)
    except (KeyboardInterrupt, typer.Abort):
        note(f"Stopped. What you answered is in {file}; go on in any text editor.")
        raise KeyboardInterrupt from None


def _questions(book: _Notebook, ask: Callable[[str], str], sheet: Sheet | None) -> None:
    step = _one(ask, "mass", "Smallest step of the scale (Enter: 1 g)") or "1 g"
    book.data["scale"] = {"step": step}
    book.keep()
    say("Whole truck on the scale. Shake it, let it settle, read three times.")
    _into(book, book.data, "whole", _several(ask, "mass", "Whole truck"))
    say("One wheel on the scale, the others on blocks as high as the scale; wheels straight, three readings each.")
    wheels = {wheel: _several(ask, "mass", wheel.replace("_", " ")) for wheel in WHEELS}
    if all(wheels.values()):
        _into(book, book.data, "wheels", wheels)
    elif any(wheels.values()):
        note("All four wheels are needed for bias and cross weight; these readings were left out.")
    lengths = ("wheelbase", "track_front", "track_rear", "axle_height_front", "axle_height_rear")
    for length in lengths:
        hint = " (needed)" if sheet is None else " (Enter: as on the sheet)"
        _into(book, book.data, length, _one(ask, "length", length.replace("_", " ") + hint, required=sheet is None))
    _lifts(book, ask)


def _lifts(book: _Notebook, ask: Callable[[str], str]) -> None:
    say("Lifts: raise one axle, the other stays on the scale, wheels free to roll. Three up, two down, each end.")
    locked = ask("Is the suspension locked with solid links? yes or no (Enter: no)").strip().lower()
    book.data["suspension"] = "locked" if locked.startswith("y") else "free"
    lifts: list[dict[str, Any]] = []
    while True:
        raised = ask("Raised axle, front or rear (Enter: no more lifts)").strip().lower()
        if raised not in ("front", "rear"):
            if raised == DONE:
                return
            note("front or rear, please.")
            continue
        height = _one(ask, "length", "Height of the raised axle over its level place (needed)", required=True)
        load = _several(ask, "mass", "Scale under the other axle (needed)", required=True)
        going = ask("Reached going up or down (Enter: up)").strip().lower()
        lifts.append({"raised": raised, "height": height, "load": load, "going": "down" if going == "down" else "up"})
        book.data["lift"] = lifts
        book.keep()


def _into(book: _Notebook, table: dict[str, Any], key: str, value: Any) -> None:
    if value:
        table[key] = value
        book.keep()


def _one(ask: Callable[[str], str], kind: Kind, words: str, *, required: bool = False) -> str:
    while True:
        found = _several(ask, kind, words, required=required)
        if len(found) <= 1:
            return found[0] if found else DONE
        note("One value, please.")


def _several(ask: Callable[[str], str], kind: Kind, words: str, *, required: bool = False) -> list[str]:
    while True:
        text = ask(words)
        try:
            found = several(kind, text, words)
            if not found and required:
                raise BuildSheetError("this one is needed.", field=words)
            return found
        except BuildSheetError as fault:
            note(str(fault))
