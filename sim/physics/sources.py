"""Which source files of this project a module is made of, read from its imports."""

from __future__ import annotations

import ast
import hashlib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
OURS = ("models", "terrain", "sim")


@cache
def source_files(*entries: str) -> dict[str, Path]:
    """Modules by full name that some modules import, directly or not, themselves included, and their files."""
    found: dict[str, Path] = {}
    waiting = list(entries)
    while waiting:
        name = waiting.pop()
        path = None if name in found else _file_of(name)
        if path is not None:
            found[name] = path
            waiting += _imported(path, name if path.name == "__init__.py" else name.rpartition(".")[0])
    return found


def hash_of(files: Iterable[tuple[str, Path]], digits: int) -> str:
    """Hash over the names and contents of some files, whatever their order."""
    digest = hashlib.sha256()
    for name, path in sorted(files):
        digest.update(name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:digits]


def _file_of(name: str) -> Path | None:
    if name.partition(".")[0] not in OURS:
        return None
    stem = ROOT.joinpath(*name.split("."))
    return next((path for path in (stem.with_suffix(".py"), stem / "__init__.py") if path.is_file()), None)


def _imported(path: Path, package: str) -> list[str]:
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            # ``from a import b`` may name a module b of package a, or only something inside a.
            names += [base, *(f"{base}.{alias.name}" for alias in node.names)]
    return names
