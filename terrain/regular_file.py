"""Files of a user read whole: regular ones alone, and none above a limit."""

from __future__ import annotations

import stat
from pathlib import Path

from terrain.errors import TerrainError


def check_regular(path: Path, most_bytes: int, what: str = "file") -> int:
    """Size of a file in bytes, told before anything of it is read.

    :raises TerrainError: Not there, not a regular file (a pipe or device never ends), or larger than ``most_bytes``.
    """
    try:
        status = path.stat()
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or type(error).__name__
        raise TerrainError(f"cannot be read ({said})", file=path, remedy="check the path") from None
    if not stat.S_ISREG(status.st_mode):
        raise TerrainError("not a regular file", file=path, remedy="name the file itself")
    if status.st_size > most_bytes:
        raise TerrainError(f"too large for a {what} ({status.st_size / 1e6:.0f} MB, at most {most_bytes / 1e6:.0f})",
                           file=path, remedy="thin it out or crop it first")  # fmt: skip
    return status.st_size


def read_regular(path: Path, most_bytes: int, what: str = "file") -> bytes:
    """Content of a file; errors as for :func:`check_regular`."""
    check_regular(path, most_bytes, what)
    try:
        with path.open("rb") as file:
            return file.read(most_bytes)
    except OSError as error:
        raise TerrainError(f"cannot be read ({error.strerror})", file=path, remedy="check the path") from None
