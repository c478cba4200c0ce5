"""A TOML file read into a validated record, with faults told in the builder's terms."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from models.errors import BuildSheetError
from models.key import dotted
from models.wording import in_words

Record = TypeVar("Record", bound=BaseModel)
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
        data = file.read_bytes()
    except FileNotFoundError:
        raise BuildSheetError(
            f"no such file in {file.parent.resolve()}.", remedy=_files_near(file), file=file
        ) from None
    except OSError as fault:
        raise BuildSheetError(
            f"cannot be read: {fault.strerror}.", remedy="Check the path and that you may read the file.", file=file
        ) from None
    if len(data) > _LARGEST_FILE:
        raise BuildSheetError(
            f"is {len(data) / 1e6:.0f} MB, far too large for a sheet.", remedy="Name the .toml file.", file=file
        )
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise BuildSheetError(
            f"line {line} is not UTF-8 text.", remedy="Save the file as UTF-8 in your editor.", file=file
        ) from None
    except tomllib.TOMLDecodeError as fault:
        raise BuildSheetError(f"not valid TOML: {fault}.", remedy=_toml_remedy(str(fault)), file=file) from None
    except RecursionError:
        raise BuildSheetError("is nested too deeply.", remedy="A sheet needs four levels at most.", file=file) from None


def _files_near(file: Path) -> str:
    here = sorted(p.name for p in file.parent.glob("*.toml")) if file.parent.is_dir() else []
    near = difflib.get_close_matches(file.name, here, n=1, cutoff=0.5)
    if near:
        return f"Did you mean {near[0]}?"
    return "Check the spelling and the folder."


def _toml_remedy(fault: str) -> str:
    if "overwrite" in fault.lower():
        return "The key or table appears twice; delete one of the two."
    return 'Text needs quotes ("like this"), decimals a point (1.5), lists commas, and each key its own line.'


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


def _with_tuples(data: Any) -> Any:
    if isinstance(data, Mapping):
        return {key: _with_tuples(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return tuple(_with_tuples(value) for value in data)
    return data


def _explained(
    kind: type[BaseModel], details: list[ErrorDetails], data: Mapping[str, Any], file: Path | None
) -> BuildSheetError:
    # An unknown key is most often a misspelled one, and then explains the missing key reported beside it.
    first = min(details, key=lambda d: d["type"] != "extra_forbidden")
    if first["type"] == "extra_forbidden":
        details = [d for d in details if d["type"] != "missing" or d["loc"][:-1] != first["loc"][:-1]]
    location = first["loc"]
    problem, remedy = in_words(kind, first)
    more = len(details) - 1
    if more:
        problem += f" ({more} more problem{'s' if more > 1 else ''} after this one.)"
    field = dotted(location, data)
    if first["type"] == "missing":
        return BuildSheetError(problem, remedy=remedy, file=file, field=field)
    return BuildSheetError(problem, remedy=remedy, file=file, field=field, value=first["input"])
