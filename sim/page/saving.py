"""The desk put into files: the same sheet with its comments, or a change against the sheet that was opened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit

from models.bench.measurement import Setting
from models.bench.rewrite import Draft
from models.change import load_change
from models.errors import BuildSheetError
from models.key import split
from sim.errors import SimError
from sim.page.desk import Desk


def save_sheet(desk: Desk, target: Path, *, replace: bool = False) -> Path | None:
    """Write the sheet with everything done to it; comments and order stay as the builder wrote them.

    :param replace: Put it in the place of a file that is there, which is kept beside it.
    :returns: Where the file that was there is kept, or None.
    :raises BuildSheetError, SimError: There is such a file and it is not to be replaced, the sheet was changed by
        something else meanwhile, or it cannot be written.
    """
    with desk.lock:
        if desk.changed_on_disk():
            raise SimError("was changed by another program since it was opened", file=desk.name,
                           remedy="Save under another name, or as a change, and open the file again")
        draft = _draft(desk)
        if not target.exists():
            draft.write(target)
            kept = None
        elif not replace:
            raise SimError("is there already", file=target.name,
                           remedy="Choose another name, or tick that it is to be replaced")
        else:
            kept = _kept(target)
            fresh = target.with_name(f".{target.name}.part")
            fresh.unlink(missing_ok=True)
            draft.write(fresh)
            # A second name for the old content first: at no moment is it gone.
            kept.hardlink_to(target)
            fresh.replace(target)
        if target == desk.file:
            desk.reopen()
        else:
            desk.mark_saved()
        return kept


def save_change(desk: Desk, target: Path, name: str, note: str = "") -> None:
    """Write what was done as a change file.

    :raises SimError, BuildSheetError: There is such a file, nothing was done, or it cannot be written.
    """
    with desk.lock:
        if not desk.edits:
            raise SimError("nothing was changed yet", field="change", remedy="Move a part or set a value first")
        document = tomlkit.document()
        document.add(tomlkit.comment(f"Made on the page, against {desk.name} as of {desk.fingerprint[:12]}."))
        data = desk.edits.as_change(name)
        if note:
            data["note"] = note
        if desk.opened.scale:
            data["scale"] = desk.opened.scale
        lists = ("add", "move")
        for key in [k for k in data if k not in lists and k != "set"]:
            document.add(key, tomlkit.item(data[key]))
        if "set" in data:
            document.add("set", tomlkit.item(data["set"]))
        for key in lists:
            if key in data:
                document.add(key, _tables(data[key]))
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("x", encoding="utf-8") as file:
                file.write(tomlkit.dumps(document))
        except FileExistsError:
            raise SimError("is there already", file=target.name, remedy="Choose another name") from None
        except OSError as error:
            raise SimError(f"cannot be written: {error.strerror}", file=target.name) from error
        load_change(target)
        desk.mark_saved()


def _draft(desk: Desk) -> Draft:
    draft = Draft(desk.file)
    edits = desk.edits
    opened = {part.name: part for part in desk.opened.parts}
    settings = [Setting(("parts", name, "at_mm"), [_number(v) for v in place], "set", "moved on the page")
                for name, place in edits.places.items()]
    for name, place in edits.places.items():
        for shape in desk.opened.hull:
            if shape.name == name:
                offset = [to - at for to, at in zip(place, opened[name].at_mm, strict=True)]
                skin = [_number(at + by) for at, by in zip(shape.at_mm, offset, strict=True)]
                settings.append(Setting(("hull", name, "at_mm"), skin, "set", "moved on the page"))
    settings += [Setting(tuple(split(key)), value, "set", "on the page") for key, value in edits.values.items()]
    draft.put(settings)
    for name in edits.removed:
        _take_off(draft.document, name)
    for part in edits.added:
        draft.add_part(dict(part), "put on, on the page")
    return draft


def _take_off(document: Any, name: str) -> None:
    for table in ("parts", "hull"):
        entries = document.get(table, [])
        for index in [n for n, entry in enumerate(entries) if entry.get("name") == name][::-1]:
            del entries[index]


def _tables(entries: list[dict[str, Any]]) -> Any:
    made = tomlkit.aot()
    for entry in entries:
        table = tomlkit.table()
        for key, value in entry.items():
            table[key] = [_number(v) for v in value] if isinstance(value, list) and key.endswith("_mm") else value
        made.append(table)
    return made


def _number(value: float) -> float | int:
    return int(value) if float(value).is_integer() else value


def _kept(target: Path) -> Path:
    for n in range(1, 1000):
        kept = target.with_name(f"{target.stem}-before-{n}{target.suffix}")
        if not kept.exists():
            return kept
    raise BuildSheetError("a thousand earlier versions lie beside it.", remedy="Move them away.", file=target)


