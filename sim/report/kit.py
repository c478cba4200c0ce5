"""Everything that it takes to drive a study again, in one archive: the plan, the build sheets and the changes."""

from __future__ import annotations

import io
import tomllib
import zipfile
from collections.abc import Iterable, Mapping
from pathlib import PurePath
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from sim.store.store import StoredTruck

PLAN = "plan.toml"
TRUCKS, CHANGES = "trucks", "changes"
_TIME = (1980, 1, 1, 0, 0, 0)
"""The archive of equal files is equal."""


def kit(plan: str, trucks: Iterable[StoredTruck], store: str) -> dict[str, str]:
    """Texts by file name, the plan first; empty where the store does not hold the files it was made from.

    The plan names every truck by itself, with the files of this kit, and the store by its own name, so that the
    printed commands find it. A time of day at which the study was to end is left out.

    :param plan: Text of the plan as it was run.
    :param trucks: Configurations that were driven.
    :param store: File name of the results.
    """
    texts: dict[str, str] = {}
    entries = []
    for one in trucks:
        files = one.facts.get("files")
        if not isinstance(files, Mapping):
            return {}
        entry: dict[str, Any] = {"name": one.name, "build": _put(texts, TRUCKS, files["build"])}
        changes = [_put(texts, CHANGES, file) for file in files["changes"]]
        entries.append(entry | ({"changes": changes} if changes else {}))
    try:
        document = tomlkit.parse(plan)
    except TOMLKitError:
        return {}
    if "obstacle" not in document or not entries:
        return {}
    for key in ("configuration", "combine", "until", "store"):
        document.pop(key, None)
    # A key at the top stands before the first table.
    top = tomlkit.document()
    top.add(tomlkit.comment("The study of a report, with the files that came with it."))
    for key, value in document.items():
        if not isinstance(value, dict | list) or not _tables(value):
            top.add(key, value)
    top.add("store", tomlkit.item(store))
    for key, value in document.items():
        if _tables(value):
            top.add(key, value)
    tables = tomlkit.aot()
    for entry in entries:
        tables.append(tomlkit.item(entry))
    top.add("configuration", tables)
    return {PLAN: tomlkit.dumps(top), **texts}


def archive(texts: Mapping[str, str]) -> bytes:
    """Pack a kit."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, text in texts.items():
            made.writestr(zipfile.ZipInfo(name, _TIME), text, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def missing(plan: str, trucks: Iterable[StoredTruck]) -> list[str]:
    """Files that a study needs besides: scans it was driven on and meshes of hulls, which are too large for a page."""
    found = []
    try:
        obstacles = tomllib.loads(plan).get("obstacle", [])
    except tomllib.TOMLDecodeError:
        obstacles = []
    found += [str(one["family"]) for one in obstacles if PurePath(str(one.get("family", ""))).suffix]
    for one in trucks:
        hull = one.facts.get("sheet", {}).get("hull", ())
        found += [str(shape["file"]) for shape in hull if shape.get("file")]
    return list(dict.fromkeys(PurePath(name.replace("\\", "/")).name for name in found))


def _tables(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _put(texts: dict[str, str], folder: str, file: Mapping[str, str]) -> str:
    """Enter a file; the same text twice is one file, another text of the same name gets a number."""
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in PurePath(file["name"]).stem) or "file"
    names = (f"{folder}/{stem}.toml", *(f"{folder}/{stem}-{n}.toml" for n in range(2, 1000)))
    name = next(name for name in names if texts.get(name, file["text"]) == file["text"])
    texts[name] = file["text"]
    return name
