"""What all tests share."""

from __future__ import annotations

import os
import signal

# Before anything draws: no test may want a screen.
os.environ.setdefault("MPLBACKEND", "Agg")

from hypothesis import settings

# Tests judge results, never the speed of the machine they run on; the same examples every time, so that a failure
# seen once is seen by everybody.
settings.register_profile("house", deadline=None, derandomize=True, max_examples=50, print_blob=True)
settings.load_profile("house")


def pytest_configure() -> None:
    """Undo an inherited ``nohup``-like SIGINT: programs started by tests inherit it, and some are to be interrupted."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
