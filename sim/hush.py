"""Keeping a C library's chatter out of our output."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Send what C code prints to standard output and standard error nowhere while the block runs.

    C keeps a buffer of its own, so it is emptied before and after; without that the text would come out at exit, in
    the middle of somebody's JSON.
    """
    sys.stdout.flush()
    sys.stderr.flush()
    flush = _c_flush()
    flush()
    try:
        kept = {number: os.dup(number) for number in (1, 2)}
    except OSError:  # no standard output or error at all: nothing to keep clean
        yield
        return
    try:
        with open(os.devnull, "w") as nowhere:
            for number in kept:
                os.dup2(nowhere.fileno(), number)
        yield
        flush()
    finally:
        for number, copy in kept.items():
            os.dup2(copy, number)
            os.close(copy)


def _c_flush() -> Callable[[], object]:
    try:
        library = ctypes.CDLL(None)
        return lambda: library.fflush(None)
    except (OSError, TypeError, AttributeError):  # a platform without a C library to open by that name
        return lambda: None
