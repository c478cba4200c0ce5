"""One grid for all workers: no copy, the same numbers in another process, gone afterwards."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import numpy as np
import pytest

from terrain import catalog, shared
from terrain.errors import TerrainError
from terrain.heightfield import Heightfield, sample


def ground() -> Heightfield:
    return Heightfield.of(np.random.default_rng(1).random((300, 200)), (0.5, -0.2), 0.002)


def height_sum(handle: shared.SharedGround) -> tuple[float, float]:
    found = shared.attach(handle)
    return float(found.z.sum()), float(sample(found, 0.7, -0.1))


def test_another_process_sees_the_same_numbers() -> None:
    here = ground()
    with shared.shared(here) as handle, multiprocessing.get_context("spawn").Pool(1) as pool:
        there = pool.apply(height_sum, (handle,))
    assert there == (float(here.z.sum()), float(sample(here, 0.7, -0.1)))


def test_attaching_maps_instead_of_copying() -> None:
    """What is written to the shared memory shows in a grid attached before: it is the same memory."""
    with shared.shared(ground()) as handle:
        first, second = shared.attach(handle), shared.attach(handle)
        writer = np.memmap(handle.path, dtype=np.float64, mode="r+", shape=handle.shape)
        writer[7, 8] = 42.0
        writer.flush()
        assert first.z[7, 8] == second.z[7, 8] == 42.0
        # A worker's own write stays its own.
        first.z[0, 0] = -1.0
        assert second.z[0, 0] != -1.0


def test_afterwards_the_memory_is_given_back() -> None:
    with shared.shared(ground()) as handle:
        kept = shared.attach(handle)
    assert not Path(handle.path).exists()
    assert np.isfinite(kept.z).all()
    with pytest.raises(TerrainError, match="gone"):
        shared.attach(handle)


def test_obstacle_travels_without_its_ground() -> None:
    import pickle

    obstacle = catalog.from_text("climb:30", wheelbase=0.14, tyre_radius=0.028, seed=1)
    with shared.shared_obstacle(obstacle) as (handle, light):
        assert len(pickle.dumps((handle, light))) < 5000
        again = shared.attach_obstacle(handle, light)
        assert np.array_equal(again.ground.z, obstacle.ground.z)
        assert again.finish_s == obstacle.finish_s
