"""Grounds made by processes beside a device: the same as those made here, and nobody left behind by a kill."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import psutil
import pytest

from models.scenario import DATA
from sim.batch.ground_makers import make_ground, makers
from sim.batch.study import yard_of
from sim.trial import ground_cache
from sim.trial.truck import load_truck

ROOT = Path(__file__).resolve().parents[1]
HOLD = """
import time
from sim.batch.ground_makers import makers
if __name__ == "__main__":
    print(makers().submit(abs, -1).result(), flush=True)
    time.sleep(600)
"""


def test_a_ground_from_a_process_is_the_ground() -> None:
    where = "ledge", 30.0, yard_of(load_truck(DATA / "gundi.toml").model).text(), None, 7, False
    with makers() as hands:
        there = hands.submit(make_ground, *where).result()
    here = ground_cache.ground(*where)
    assert np.array_equal(there.ground.z, here.ground.z)
    assert np.array_equal(there.ground.coarse, here.ground.coarse)
    assert (there.start, there.finish_s) == (here.start, here.finish_s)


@pytest.mark.skipif(os.name != "posix", reason="signals of another kind")
def test_makers_end_with_whoever_asked(tmp_path: Path) -> None:
    script = tmp_path / "hold.py"
    script.write_text(HOLD, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True,
                          env=os.environ | {"PYTHONPATH": str(ROOT)}) as holder:  # fmt: skip
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == "1"
        children = psutil.Process(holder.pid).children(recursive=True)
        assert children
        holder.send_signal(signal.SIGKILL)
    until = time.monotonic() + 20.0
    while any(child.is_running() and child.status() != psutil.STATUS_ZOMBIE for child in children):
        assert time.monotonic() < until
        time.sleep(0.1)
