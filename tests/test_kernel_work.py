"""The work of a force-kernel call must not creep up: lines are counted, not seconds."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_a_kernel_call_does_no_more_work_than_recorded() -> None:
    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "count.py")], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
