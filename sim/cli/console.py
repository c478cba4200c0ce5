"""What every command prints with: plain lines, tables and JSON. Text from users never carries markup or controls."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

Cell = str | Text
PIPE_WIDTH = 120
"""Columns of a table that does not go to a terminal."""


def console(*, to_stderr: bool = False) -> Console:
    """Console that takes text literally: square brackets are brackets."""
    return Console(stderr=to_stderr, markup=False, highlight=False, emoji=False, soft_wrap=True)


def say(text: str = "") -> None:
    """Print one line or paragraph."""
    console().print(printable(text))


def note(text: str) -> None:
    """Print beside the result, on standard error."""
    console(to_stderr=True).print(printable(text))


def printable(text: str) -> str:
    """Text with control characters made visible; line breaks stay."""
    return "".join(c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode("ascii") for c in text)


def show_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[Cell]], *, left: int = 1) -> None:
    """Print a table; the first ``left`` columns are words, the others numbers."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_header=any(columns), show_edge=False)
    for index, name in enumerate(columns):
        words = index < left
        last = index == len(columns) - 1
        table.add_column(
            name, justify="left" if words or last else "right", overflow="fold", min_width=12 if words else None
        )
    for row in rows:
        table.add_row(*(Text(printable(cell)) if isinstance(cell, str) else cell for cell in row))
    target = console()
    target.soft_wrap = False
    if not target.is_terminal:
        target.width = PIPE_WIDTH
    if title:
        target.print(Text(printable(title), style="bold"))
    target.print(table)
    target.print()


def show_json(data: Any) -> None:
    """Print data as JSON; a number that is not finite becomes null."""
    json.dump(plain(data), sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
    sys.stdout.write("\n")


def mistakes() -> tuple[type[Exception], ...]:
    """Root errors of the three packages: what a command line reports in one message with exit code 2."""
    from models.errors import BuildSheetError
    from sim.errors import SimError
    from terrain.errors import TerrainError

    return (BuildSheetError, TerrainError, SimError)


def plain(data: Any) -> Any:
    """Data as JSON can hold it."""
    if isinstance(data, Mapping):
        return {str(key): plain(value) for key, value in data.items()}
    if isinstance(data, list | tuple | set | frozenset):
        return [plain(value) for value in data]
    if hasattr(data, "tolist"):
        return plain(data.tolist())
    if isinstance(data, float):
        return data if math.isfinite(data) else None
    return data
