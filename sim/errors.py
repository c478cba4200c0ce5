"""What goes wrong through the user's files and words, told in one line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class SimError(ValueError):
    """A plan, store, obstacle or option that cannot be used: where, what, and what to do.

    :param problem: What is wrong, without a full stop.
    :param file: File it was read from.
    :param field: Key, option or column.
    :param value: The offending value; shown shortened.
    :param remedy: What the user can do about it.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | Path | None = None,
        field: str | None = None,
        value: object = None,
        remedy: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = None if file is None else str(file)
        self.field = field
        self.value = value
        self.remedy = remedy
        place = ": ".join(part for part in (self.file, field) if part)
        shown = "" if value is None else f" (got {_short(value)})"
        advice = f". {remedy}" if remedy else ""
        super().__init__(f"{place + ': ' if place else ''}{problem}{shown}{advice}")


class StoreError(SimError):
    """The file is not a store that this version can read or write."""


class PlanError(SimError):
    """The plan file does not say something that can be run."""


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn the operating system's refusal to open ``path`` into a SimError that names it."""
    try:
        yield
    except FileNotFoundError as error:
        raise SimError("no such file", file=path, remedy="Check the path") from error
    except (IsADirectoryError, PermissionError, OSError) as error:
        raise SimError(f"cannot be opened: {error.strerror or error}", file=path, remedy="Check the path") from error


@contextmanager
def writing(path: Path, remedy: str = "Name another place") -> Iterator[None]:
    """Turn the operating system's refusal to write ``path`` into a SimError that names it."""
    try:
        yield
    except OSError as error:
        raise SimError(f"cannot be written: {error.strerror or error}", file=path, remedy=remedy) from error


def make_folder(folder: Path) -> None:
    """Make a folder for results where there is none.

    :raises SimError: It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SimError("not a folder to write to", field="out", value=str(folder), remedy=error.strerror) from error


def _short(value: object, limit: int = 80) -> str:
    text = repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"
