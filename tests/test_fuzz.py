"""Damaged files of every kind never give a traceback, a hang or a strange exit code."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import fuzz


@pytest.mark.slow
def test_five_hundred_damaged_files() -> None:
    assert fuzz.fuzz(500, seed=2) == {}


def _asks_for_memory(_: Path) -> None:
    bytearray(3 * 10**9)


def _ends(code: int) -> Callable[[Path], None]:
    def action(_: Path) -> None:
        sys.exit(code)

    return action


def _says(_: Path) -> None:
    print("Traceback (most recent call last):", file=sys.stderr)


@pytest.mark.parametrize(
    ("action", "fault"),
    [
        (lambda path: path.read_text().index("nowhere"), "ValueError"),
        (lambda _: time.sleep(30), "Late"),
        (_asks_for_memory, "MemoryError"),
        (_ends(3), "exit code 3"),
        (_ends(1), "exit code 1"),
        (_says, "a traceback in its words"),
        (_ends(2), ""),
        (_ends(0), ""),
    ],
)  # fmt: skip
def test_what_counts_as_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, action: fuzz.Action,
                                fault: str) -> None:  # fmt: skip
    path = tmp_path / "input.toml"
    path.write_text("x")
    alarm = signal.alarm
    monkeypatch.setattr(fuzz.signal, "alarm", lambda seconds: alarm(min(seconds, 1)))
    assert fuzz.tried(action, path, 60).startswith(fault)
    assert bool(fuzz.tried(action, path, 60)) == bool(fault)
