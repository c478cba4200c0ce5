"""What computed a result: a hash of the sources that it can depend on, and the libraries under them."""

from __future__ import annotations

import ast
import hashlib
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

from sim.task import Versions

OURS = ("models", "terrain", "sim")
LIBRARIES = ("numba", "numpy")
"""What turns the sources into arithmetic."""


@cache
def versions(entry: str = "sim.perform") -> Versions:
    """Versions behind the results of ``entry``, a module's full name.

    The code version covers every source file of this project that ``entry`` imports, directly or not, so that an
    edit of a chart or of the store leaves finished trials valid and an edit of the physics does not.
    """
    digest = hashlib.sha256()
    for name, path in sorted(_reached(entry).items()):
        digest.update(name.encode() + b"\0" + path.read_bytes() + b"\0")
    return Versions(code=digest.hexdigest()[:12], engine=" ".join(f"{name} {_installed(name)}" for name in LIBRARIES))


def _reached(entry: str) -> dict[str, Path]:
    found: dict[str, Path] = {}
    waiting = [entry]
    while waiting:
        name = waiting.pop()
        path = None if name in found else _source(name)
        if path is None:
            continue
        found[name] = path
        package = name if path.name == "__init__.py" else name.rpartition(".")[0]
        waiting += [n for n in _imports(path, package) if n.partition(".")[0] in OURS]
    return found


def _source(name: str) -> Path | None:
    try:
        spec = find_spec(name)
    except (ModuleNotFoundError, ValueError):
        return None
    if spec is None or spec.origin is None or not spec.origin.endswith(".py"):
        return None
    return Path(spec.origin)


def _imports(path: Path, package: str) -> list[str]:
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


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"
