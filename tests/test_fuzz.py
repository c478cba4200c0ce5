"""Damaged files of every kind never give a traceback, a hang or a strange exit code."""

from __future__ import annotations

import pytest

import fuzz


@pytest.mark.slow
def test_five_hundred_damaged_files() -> None:
    assert fuzz.fuzz(500, seed=2) == {}
