"""What all tests share."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from typing import Any

# Before anything draws: no test may want a screen.
os.environ.setdefault("MPLBACKEND", "Agg")

import pytest
from hypothesis import settings

# Tests judge results, never the speed of the machine they run on; the same examples every time, so that a failure
# seen once is seen by everybody.
settings.register_profile("house", deadline=None, derandomize=True, max_examples=50, print_blob=True)
settings.load_profile("house")


def pytest_configure() -> None:
    """Undo an inherited ``nohup``-like SIGINT: programs started by tests inherit it, and some are to be interrupted."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """One browser for all tests of a file: to start one takes longer than most of them."""
    from test_browser import browser

    driver = browser(tmp_path_factory.mktemp("profile"))
    driver.set_script_timeout(240)
    yield driver
    driver.quit()


@pytest.fixture
def hand(window: Any) -> Any:
    """A hand on a fresh page of that browser."""
    from page_hand import Hand
    from test_browser import requests

    hand = Hand(window)
    window.get("about:blank")
    hand.screen(1280)
    hand.scheme("light")
    requests(window)
    window.get_log("browser")
    return hand
