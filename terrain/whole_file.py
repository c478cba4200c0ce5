"""Files that appear whole or not at all: written beside their place, then moved there."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from terrain.errors import TerrainError


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A file to write beside ``path``, of the same ending; it takes that place when the block ends well, else it goes.

    :raises OSError: It cannot be written or moved.
    """
    part = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")
    try:
        yield part
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def told_whole(path: Path) -> Iterator[Path]:
    """The same, with a message for whoever named the file.

    :raises TerrainError: There is no such folder, or it cannot be written.
    """
    if not path.parent.is_dir():
        raise TerrainError("there is no such folder", file=path.parent, remedy="make it first")
    try:
        with whole(path) as part:
            yield part
    except OSError as error:
        raise TerrainError(f"cannot be written ({error.strerror})", file=path, remedy="name another place") from None
