"""A mixed cluster: a worker with a (simulated) graphics processor takes packets, one with cores single trials."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("distributed")
packets = pytest.importorskip("sim.batch.packets")

ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "tests"
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(TESTS)]), "NUMBA_ENABLE_CUDASIM": "1",
               "NUMBA_DISABLE_JIT": "1"}
HERE = ("--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0")


def test_a_packet_is_a_devices_share_of_what_waits() -> None:
    """Beside cores a device takes its worth in cores; too few are left to these, and without any it takes all."""
    assert packets.packet_size(7600, 1, 16, 16384, 128) == 6000
    assert packets.packet_size(100_000, 1, 16, 16384, 128) == 16384
    assert packets.packet_size(100, 1, 16, 16384, 128) == 0
    assert packets.packet_size(100, 1, 0, 16384, 128) == 100
    assert packets.packet_size(1000, 2, 0, 16384, 128) == 500
    assert packets.packet_size(0, 1, 0, 16384, 128) == 0


@pytest.mark.slow
def test_one_plan_on_a_mixed_cluster(tmp_path: Path) -> None:
    """Five trials: the device's worker answers for packets, the other's core for the rest, with the same records.

    The simulator's arithmetic is the processor's, so that not a bit may differ whoever drove; keys are of neither.
    """
    with ExitStack() as stack:

        def launch(*arguments: str, log: Any = subprocess.DEVNULL) -> subprocess.Popen[str]:
            process = stack.enter_context(subprocess.Popen([sys.executable, "-m", *arguments], text=True, stderr=log,
                                                           stdout=subprocess.DEVNULL, env=ENVIRONMENT))  # fmt: skip
            stack.callback(process.kill)
            return process

        main = launch("distributed.cli.dask_scheduler", *HERE, "--port", "0", log=subprocess.PIPE)
        assert main.stderr is not None
        address = next(line.split()[-1] for line in main.stderr if "Scheduler at:" in line)
        common = ("distributed.cli.dask_worker", address, *HERE, "--nthreads", "1", "--no-nanny", "--preload",
                  str(TESTS / "short_trials.py"))
        launch(*common, "--name", "cores")
        launch(*common, "--name", "device", "--resources", "gpu=1")
        from distributed import Client

        with Client(address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=240)
            names = {at: one["name"] for at, one in client.scheduler_info(n_workers=-1)["workers"].items()}
        for on, expected in (("any", {"cores", "device"}), ("gpu", {"device"})):
            done = subprocess.run([sys.executable, str(TESTS / "mixed_cluster.py"), address, on,
                                   str(tmp_path / f"{on}.sqlite")], cwd=ROOT, env=ENVIRONMENT, capture_output=True,
                                  text=True, check=False)  # fmt: skip
            assert done.returncode == 0, done.stderr[-2000:]
            found = json.loads(done.stdout)
            assert (found["done"], found["faults"]) == (5, [])
            assert found["there"] == found["here"]
            assert {names[at] for at in found["by"]} == expected
            assert sum(found["by"].values()) == 5
            assert found["under other keys"] == (5 if on == "gpu" else 0)


def test_cores_and_devices_together_need_a_scheduler(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-m", "sim.cli.main", "batch", str(tmp_path / "plan.toml"), "--on", "any"],
                          cwd=ROOT, capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": str(ROOT)})  # fmt: skip
    assert done.returncode == 2
    assert "behind a scheduler only" in done.stderr
    assert "Traceback" not in done.stderr
