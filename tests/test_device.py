"""Trials on a graphics processor: same kernels, same results, and a clear word where there is none."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from models.scenario import DATA
from sim.physics.arrays import model_arrays
from sim.trial.truck import load_truck

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.slow
def test_the_simulated_device_gives_what_the_processor_gives() -> None:
    """Two seats, three trials of two trucks on three grounds, two places for grounds: seats and places are used again.

    The simulator runs the same functions uncompiled and with the same arithmetic, so that not a bit may differ.
    """
    done = subprocess.run(
        [sys.executable, str(ROOT / "tests" / "simulated_device.py")], cwd=ROOT, capture_output=True, text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout)
    assert found["device"] == found["here"]
    assert [record[0] for record in found["here"]] == ["cleared"] * 3


@pytest.mark.parametrize("command", ["batch", "explore"])
def test_without_a_device_a_command_says_so(tmp_path: Path, command: str) -> None:
    from numba import cuda

    if cuda.is_available():
        pytest.skip("there is a device here")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'schema = 1\nname = "p"\nseed = 1\nrepeats = 1\ndrivers = ["steady"]\n'
        f'[[configuration]]\nname = "a"\nbuild = "{DATA / "gundi.toml"}"\n'
        '[[obstacle]]\nfamily = "ledge"\nlevels = [10]\n',
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, "-m", "sim.cli.main", command, str(plan if command == "batch" else DATA / "gundi.toml"),
         "--on", "gpu"], cwd=ROOT, capture_output=True,
        text=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 2
    assert "graphics processor" in done.stderr
    assert "Traceback" not in done.stderr


def test_tables_hold_trucks_of_different_sizes() -> None:
    many = pytest.importorskip("sim.trial.many")
    models = [load_truck(DATA / f"{name}.toml").model for name in ("gundi", "dassie")]
    known = []
    for model in models:
        arrays = model_arrays(model, np.array(model.bodies[0].p_BBcm), np.eye(3))
        known.append((arrays, model.tyres[0].n_round, len(model.tyres[0].row_y)))
    tables = many.truck_tables(known)
    for c, (arrays, rounds, rows) in enumerate(known):
        size = tables.sizes[c]
        assert (size[many.Z_ROUND], size[many.Z_ROWS]) == (rounds, rows)
        assert np.array_equal(tables.pressure[c, :, : size[many.Z_PRESSURE]], arrays.pressure)
        assert np.array_equal(tables.hull.tip[c, : size[many.Z_HULL]], arrays.hull.tip)
        assert np.array_equal(tables.shock.rate[c, : size[many.Z_SHOCKS]], arrays.shock.rate)
        assert tuple(tables.drive[c]) == tuple(float(x) for x in arrays.drive[: many.DRIVE_NUMBERS])
