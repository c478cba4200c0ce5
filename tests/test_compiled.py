"""Where machine code is kept: a place that is the user's own, and a start without one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from sim.physics.compiled import cache_folder, source_hash

ROOT = Path(__file__).resolve().parent.parent


def test_the_first_folder_that_can_be_written_is_taken(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    found = cache_folder([blocked, tmp_path / "good", tmp_path / "later"])
    assert found == tmp_path / "good" / "cragbench" / f"kernels-{source_hash()}"
    assert found.is_dir()
    assert not (tmp_path / "later").exists()


def test_without_any_place_there_is_none(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert cache_folder([blocked]) is None
    assert cache_folder([]) is None


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners of files here")
def test_a_folder_of_somebody_else_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Machine code is loaded as it lies there: it must be the user's own."""
    monkeypatch.setattr(os, "getuid", lambda: 12345)
    assert cache_folder([tmp_path]) is None


def test_a_home_that_is_none_stops_nothing(tmp_path: Path) -> None:
    unset = dict.fromkeys(("XDG_CACHE_HOME", "CRAGBENCH_CACHE", "NUMBA_CACHE_DIR"), "")
    places = unset | {"TMPDIR": str(tmp_path), "HOME": "/proc/none"}
    code = "from sim.physics.vector import rotation_from_quaternion; from sim.physics.compiled import KEPT; print(KEPT)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=os.environ | places, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.stdout.strip() == "True", done.stderr
    assert len(list(tmp_path.glob("cragbench-*/cragbench/kernels-*"))) == 1
