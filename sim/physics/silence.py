"""Keeping a C library's chatter out of our output."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Callable, Iterator

STREAMS = (1, 2)
"""Standard output and standard error."""


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Send what C code prints nowhere while the block runs.

    C keeps a buffer of its own, so it is emptied before and after; without that the text would come out at exit, in
    the middle of somebody's JSON.
    """
    flush = _c_flush()
    kept: dict[int, int] = {}
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()
    flush()
    with open(os.devnull, "w") as nowhere:
        for number in STREAMS:
            with contextlib.suppress(OSError):  # a closed stream has nothing to keep clean
                kept[number] = os.dup(number)
                os.dup2(nowhere.fileno(), number)
    try:
        yield
    finally:
        flush()
        for number, copy in kept.items():
            os.dup2(copy, number)
            os.close(copy)


def _c_flush() -> Callable[[], object]:
    try:
        library = ctypes.CDLL(None)
        return lambda: library.fflush(None)
    except (OSError, TypeError, AttributeError):  # a platform without a C library to open by that name
        return lambda: None
