"""The kernels for a graphics processor compile without one: to PTX, the assembly that its driver takes."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numba
import numpy as np
import pytest
from numba import float64, int64, types

from models.scenario import DATA
from sim.physics.arrays import model_arrays
from sim.trial.truck import load_truck

CAPABILITY = (9, 0)


@pytest.mark.slow
def test_the_kernel_compiles_for_a_device_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """A minute and a half of two busy cores, and 75 MB of a compiler that only ``cragbench[gpu]`` brings."""
    pytest.importorskip("numba_cuda")
    from numba import cuda
    from numba.cuda import dispatcher

    many = pytest.importorskip("sim.trial.many")
    # Functions that kernels call are compiled for the device at hand; the capability is all that is asked of it.
    monkeypatch.setattr(dispatcher, "get_current_device", lambda: SimpleNamespace(compute_capability=CAPABILITY))
    try:
        text, _ = cuda.compile_ptx(many.go_on.py_func, _types(many), device=False, cc=CAPABILITY)
    except Exception as error:
        if "NVVM" in str(error):
            pytest.skip(f"the compiler is not there: {error}")
        raise
    assert ".target sm_90" in text
    assert ".entry" in text
    assert "bar.warp.sync" in text  # lanes wait for each other
    assert "malloc" not in text


def _types(many: Any) -> tuple[Any, ...]:
    """Of the kernel's arguments for two trucks of different sizes."""
    models = [load_truck(DATA / f"{name}.toml").model for name in ("gundi", "takin")]
    tables = many.truck_tables([
        (model_arrays(model, np.array(model.bodies[0].p_BBcm), np.eye(3)), model.tyres[0].n_round,
         len(model.tyres[0].row_y))
        for model in models
    ])  # fmt: skip

    def array(dimensions: int, of: Any = float64) -> Any:
        return types.Array(of, dimensions, "C")

    places = types.NamedTuple([array(2), array(3), array(4), array(3)], many.Places)
    shapes = many.seat_shapes(tables, 1024)
    seats = [array(2, int64), *(array(len(shapes[name]) + 1) for name in many.Seats._fields[1:])]
    return (
        int64, int64, float64, array(1), numba.typeof(tables), places, types.NamedTuple(seats, many.Seats),
    )  # fmt: skip
