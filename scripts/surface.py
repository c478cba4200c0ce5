"""What others build on: commands, options, keys of files and of JSON, as a list that shows in review when it changes.

    python3 scripts/test.py tests/test_surface.py     compares it with what is recorded
    .venv/bin/python scripts/surface.py --record      renews the record
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / "tests" / "public_surface.txt"

WRITERS = {"show_json", "as_data", "_as_data", "_data", "data"}
"""Functions that make what ``--json`` prints: the keys are read from their source."""


def keys(kind: type[BaseModel], path: str) -> Iterator[str]:
    """Keys of a file format, tables inside tables by their full path."""
    for name, field in kind.model_fields.items():
        here = f"{path}.{field.alias or name}"
        yield here
        for inner in dict.fromkeys(_records(field.annotation)):
            yield from keys(inner, here)


def _records(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _records(part)


def commands(command: Any, path: str) -> Iterator[str]:
    """Every command with its arguments and options."""
    for parameter in command.params:
        spelled = " ".join((*parameter.opts, *parameter.secondary_opts))
        yield f"{path} {spelled}" if parameter.param_type_name == "option" else f"{path} <{parameter.name}>"
    for name, inner in sorted(getattr(command, "commands", {}).items()):
        yield from commands(inner, f"{path} {name}")


def json_keys(source: str) -> set[str]:
    """Keys written by hand in functions that make JSON, or in what is handed to them."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        called = node.func if isinstance(node, ast.Call) else None
        name = node.name if isinstance(node, ast.FunctionDef) else getattr(called, "id", None)
        if name in WRITERS:
            literals = (inner for inner in ast.walk(node) if isinstance(inner, ast.Dict))
            keys = (key for literal in literals for key in literal.keys if isinstance(key, ast.Constant))
            found.update(str(key.value) for key in keys)
    return found


def surface() -> list[str]:
    """Everything, a line each, sorted."""
    from models.bench.readings import Readings
    from models.change import Change
    from models.spec import Sheet
    from sim.batch.plan import Plan
    from sim.cli.main import load
    from sim.cli.table import ENTRIES
    from sim.reality.attempt_file import LogFile
    from sim.store.store import COLUMNS, EFFORT
    from terrain import course_file

    found = {f"exported column: {name}" for name in (*COLUMNS, *EFFORT)}
    for entry in ENTRIES:
        found.update(commands(load(entry), f"command: {entry.name}"))
    for name, kind in (("sheet", Sheet), ("change", Change), ("plan", Plan), ("readings", Readings), ("log", LogFile)):
        found.update(f"file: {key}" for key in keys(kind, name))
    for name, kind in vars(course_file).items():
        if isinstance(kind, type) and issubclass(kind, course_file.FileRecord):
            found.update(f"file: {key}" for key in keys(kind, f"course {name}"))
    for file in (ROOT / "sim" / "cli").glob("*.py"):
        found.update(f"json of {file.stem}: {key}" for key in json_keys(file.read_text(encoding="utf-8")))
    return sorted(found)


def main() -> int:
    """Record the surface, or say how it differs from the record."""
    now = surface()
    if "--record" in sys.argv[1:]:
        FILE.write_text("\n".join(now) + "\n", encoding="utf-8")
        return 0
    before = FILE.read_text(encoding="utf-8").splitlines()
    for line in sorted(set(before) ^ set(now)):
        print(("+ " if line in now else "- ") + line)
    return int(before != now)


if __name__ == "__main__":
    sys.path.insert(0, str(FILE.parent.parent))
    raise SystemExit(main())
