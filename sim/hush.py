"""Keeping a C library's chatter out of our output."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Send what C code prints to standard output nowhere while the block runs.

    C keeps a buffer of its own, so it is emptied before and after; without that the text would come out at exit, in
    the middle of somebody's JSON.
    """
    sys.stdout.flush()
    flush = _c_flush()
    flush()
    try:
        kept = os.dup(1)
    except OSError:  # no standard output at all: nothing to keep clean
        yield
        return
    try:
        with open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
        flush()
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _c_flush() -> Callable[[], object]:
    try:
        library = ctypes.CDLL(None)
        return lambda: library.fflush(None)
    except (OSError, TypeError, AttributeError):  # a platform without a C library to open by that name
        return lambda: None
