"""A TOML file read into a validated record, with faults told in the builder's terms."""

from __future__ import annotations

import copy
import stat
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from models.errors import BuildSheetError
from models.key import dotted, order_in
from models.nearest import nearest
from models.toml_slips import toml_slips
from models.wording import in_words

Record = TypeVar("Record", bound=BaseModel)
FILLED_IN = frozenset({"links", "shock", "x_mm", "motor", "battery", "driveline", "servo"})
"""Keys of a sheet that a builder may leave out (:mod:`models.short`)."""
_LARGEST_FILE = 4_000_000


def read_record(kind: type[Record], file: Path) -> Record:
    """Read one TOML file as a record of this kind.

    :raises BuildSheetError: missing, unreadable, not UTF-8, not TOML, or not valid for the record.
    """
    return validated(kind, read_toml(file), file)


def read_toml(file: Path) -> dict[str, Any]:
    """Read a TOML file into plain data.

    :raises BuildSheetError: missing, a folder, unreadable, not UTF-8, or not TOML (with its line).
    """
    if file.is_dir():
        raise BuildSheetError("this is a folder, not a file.", remedy="Name the .toml file inside it.", file=file)
    try:
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            raise BuildSheetError("this is not a regular file.", remedy="Name the .toml file itself.", file=file)
        if status.st_size > _LARGEST_FILE:
            raise BuildSheetError(f"is {status.st_size / 1e6:.0f} MB, far too large for a sheet.",
                                  remedy="Name the .toml file.", file=file)  # fmt: skip
        with file.open("rb") as opened:
            data = opened.read(_LARGEST_FILE + 1)
    except FileNotFoundError:
        raise BuildSheetError(f"no such file in {file.parent.resolve()}.", remedy=_files_near(file),
                              file=file) from None
    except OSError as fault:
        raise BuildSheetError(f"cannot be read: {fault.strerror}.",
                              remedy="Check the path and that you may read the file.", file=file) from None
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise BuildSheetError(f"line {line} is not UTF-8 text.", remedy="Save the file as UTF-8 in your editor.",
                              file=file) from None
    except tomllib.TOMLDecodeError as fault:
        slips = toml_slips(data.decode("utf-8-sig"), str(fault))
        others = [BuildSheetError(problem, remedy=remedy, file=file) for problem, remedy in slips[1:]]
        raise BuildSheetError(slips[0][0], remedy=slips[0][1], file=file, others=others) from None
    except ValueError:
        # Python reads no whole number of more than some thousand digits.
        raise BuildSheetError("has a number of thousands of digits.", remedy="Write the number plainly.",
                              file=file) from None  # fmt: skip
    except RecursionError:
        raise BuildSheetError("is nested too deeply.", remedy="A sheet needs four levels at most.", file=file) from None


def _files_near(file: Path) -> str:
    here = sorted(p.name for p in file.parent.glob("*.toml")) if file.parent.is_dir() else []
    near = nearest(file.name, here)
    if near:
        return f"Did you mean {near}?"
    return "Check the spelling and the folder."


def validated(kind: type[Record], data: Mapping[str, Any], file: Path | None = None) -> Record:
    """Validate plain data as a record of this kind.

    :raises BuildSheetError: the first fault found, with its dotted key, its value and what to write instead.
    """
    try:
        # TOML knows a number from a text, so nothing is converted but its arrays, which have no other form.
        return kind.model_validate(_with_tuples(data), strict=True)
    except ValidationError as faults:
        details = faults.errors(include_url=False)
        raise _explained(kind, details, data, file) from None


def without_faults(kind: type[BaseModel], data: Mapping[str, Any]) -> dict[str, Any]:
    """The same data less every key whose own value is at fault, so that the rest can be looked at too."""
    rest = copy.deepcopy(dict(data))
    try:
        kind.model_validate(_with_tuples(data), strict=True)
    except ValidationError as faults:
        for detail in faults.errors(include_url=False):
            steps = list(detail["loc"])
            while steps and isinstance(steps[-1], int):
                steps.pop()
            if detail["type"] != "missing":
                _take_out(rest, steps)
    return rest


def _take_out(data: Any, steps: Sequence[str | int]) -> None:
    for step in steps[:-1]:
        if isinstance(data, Mapping):
            data = data.get(str(step))
        elif isinstance(data, list | tuple) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            return
    if steps and isinstance(data, dict):
        data.pop(steps[-1], None)


def _with_tuples(data: Any) -> Any:
    if isinstance(data, Mapping):
        return {key: _with_tuples(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return tuple(_with_tuples(value) for value in data)
    return data


def _explained(
    kind: type[BaseModel], details: list[ErrorDetails], data: Mapping[str, Any], file: Path | None
) -> BuildSheetError:
    """All faults in the order of the file."""
    # An unknown key is most often a misspelled one, and then explains the missing key reported beside it.
    tables = {d["loc"][:-1] for d in details if d["type"] == "extra_forbidden"}
    kept = [d for d in details if d["type"] != "missing" or d["loc"][:-1] not in tables]
    # A list counts as too short when an entry of it is at fault; the entry's own fault says it.
    within = {d["loc"][:n] for d in details for n in range(1, len(d["loc"]))}
    kept = [d for d in kept if d["type"] != "too_short" or d["loc"] not in within]
    # What a typical truck fills in is missing only because something it hangs on is.
    kept = [d for d in kept if d["type"] != "missing" or d["loc"][-1] not in FILLED_IN] or kept
    faults = []
    for detail in kept:
        problem, remedy = in_words(kind, detail)
        value = {} if detail["type"] == "missing" else {"value": detail["input"]}
        faults.append(BuildSheetError(problem, remedy=remedy, file=file, field=dotted(detail["loc"], data), **value))
    return together(faults, data)


def together(faults: Sequence[BuildSheetError], data: Mapping[str, Any]) -> BuildSheetError:
    """One error of several, in the order of the file; a fault told twice is told once."""
    once = list({(fault.field, fault.problem): fault for fault in faults}.values())
    first, *others = sorted(once, key=lambda fault: order_in(data, fault.field or ""))
    return BuildSheetError(
        first.problem, remedy=first.remedy, file=first.file, field=first.field, change=first.change, others=others,
        **({"value": first.value} if first.value_known else {}),
    )  # fmt: skip
