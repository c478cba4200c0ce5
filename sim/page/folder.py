"""The folder that the page works in: what lies there, and no way out of it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sim.errors import SimError

Kind = Literal["sheet", "change", "plan", "store", "log", "picture", "ground", "readings", "other"]
DEEPEST, MOST_FILES, MOST_READ = 3, 2000, 2_000_000
OWN = ".cragbench-page"
"""Where drafts and the state of runs are kept."""
_SUFFIXES = {".sqlite": "store", ".jpg": "picture", ".jpeg": "picture", ".png": "picture", ".npz": "ground"}


@dataclass(frozen=True)
class FolderFile:
    """A file of the folder."""

    name: str
    """Path from the folder, with forward strokes."""
    kind: Kind
    title: str
    """What the file calls itself, or else its stem."""
    note: str
    scale: float | None


class Folder:
    """One folder, and files inside it by their names."""

    def __init__(self, root: Path) -> None:
        """Take a folder.

        :raises SimError: it is not there and cannot be made.
        """
        try:
            root.mkdir(parents=True, exist_ok=True)
            self.root = root.resolve(strict=True)
        except OSError as error:
            raise SimError("not a folder to work in", field="folder", value=str(root),
                           remedy=f"Name another one ({error.strerror})") from error

    def path(self, name: str, suffix: str = "") -> Path:
        """Return the path of a name, whether or not the file is there.

        :raises SimError: it leads out of the folder, to something hidden, or has another suffix.
        """
        given = Path(name)
        bad = not name or len(name) > 300 or given.is_absolute() or "\\" in name or not name.isprintable()
        if bad or any(step.startswith(".") for step in given.parts) or (suffix and given.suffix.lower() != suffix):
            raise SimError("not a name of a file in this folder", field="file", value=name,
                           remedy=f"Use letters, digits and dashes{f', ending in {suffix}' if suffix else ''}")
        path = (self.root / given).resolve()
        if not path.is_relative_to(self.root):
            raise SimError("lies outside of the folder", field="file", value=name, remedy="Copy it into the folder")
        return path

    def existing(self, name: str, suffix: str = "") -> Path:
        """Return the path of a regular file of the folder.

        :raises SimError: see :meth:`path`; or there is none.
        """
        path = self.path(name, suffix)
        if not path.is_file():
            raise SimError("there is no such file in the folder", field="file", value=name, remedy="Choose another")
        return path

    def name(self, path: Path) -> str:
        """Return the name under which the page knows a path."""
        return path.resolve().relative_to(self.root).as_posix()

    def own(self) -> Path:
        """Return the page's own subfolder, made if need be."""
        own = self.root / OWN
        own.mkdir(exist_ok=True)
        return own

    def files(self, kind: Kind | None = None) -> list[FolderFile]:
        """List what lies in the folder, by name."""
        found = (self._look(path) for path in self._walk(self.root, 0))
        return sorted((one for one in found if kind in (None, one.kind)), key=lambda one: one.name.lower())

    def free_name(self, stem: str, suffix: str, under: str = "") -> str:
        """Return a name that is not taken, made of a name that somebody gave."""
        plain = "-".join("".join(c if c.isalnum() else " " for c in stem.lower()).split())[:60] or "unnamed"
        before = f"{under}/" if under else ""
        candidates = [f"{before}{plain}{suffix}", *(f"{before}{plain}-{n}{suffix}" for n in range(2, 1000))]
        return next(name for name in candidates if not (self.root / name).exists())

    def _walk(self, folder: Path, depth: int) -> Iterator[Path]:
        count = 0
        for path in sorted(folder.iterdir()):
            if path.name.startswith(".") or path.is_symlink() or (count := count + 1) > MOST_FILES:
                continue
            if path.is_dir():
                if depth < DEEPEST and not path.name.endswith("-data"):
                    yield from self._walk(path, depth + 1)
            elif path.is_file():
                yield path

    def _look(self, path: Path) -> FolderFile:
        kind: Kind = _SUFFIXES.get(path.suffix.lower(), "other")  # type: ignore[assignment]
        title, note, scale = path.stem.removesuffix(".ground"), "", None
        if path.suffix.lower() == ".toml" and path.stat().st_size <= MOST_READ:
            try:
                data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
            except (OSError, ValueError, RecursionError):
                data = {}
            kind = _kind_of(data)
            title = str(data.get("name", data.get("truck", path.stem) if kind == "readings" else path.stem))
            note = str(data.get("note", ""))
            scale = float(data["scale"]) if isinstance(data.get("scale"), int | float) else None
        return FolderFile(self.name(path), kind, title, note, scale)


def _kind_of(data: dict[str, object]) -> Kind:
    if "wheelbase_mm" in data or "axles" in data:
        return "sheet"
    if "truck" in data and {"scale", "whole", "wheels", "axles", "part"} & data.keys():
        return "readings"
    if {"date", "line", "attempt", "attempts"} & data.keys():  # it names configurations too, so before a plan
        return "log"
    if "obstacle" in data or "configuration" in data:
        return "plan"
    changing = {"move", "add", "replace", "remove", "set", "unset", "add_hull"}
    return "change" if changing & data.keys() and "schema" in data else "other"
