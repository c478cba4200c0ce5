"""Files that appear whole or not at all: written beside their place, then moved there."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


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
