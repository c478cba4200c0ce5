"""A ground as a mapped file: everything comes back to the bit, and nothing is copied."""

from __future__ import annotations

import mmap
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from terrain import catalog, shared
from terrain.coarse import BLOCK, coarse_map
from terrain.families.registry import FAMILIES
from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle
from terrain.yardstick import Yardstick

YARD = Yardstick(0.134, 0.027, 24.0)
COURSE = Path(catalog.__file__).parent / "course_data" / "quarry-garden.toml"


def made(name: str, level: float) -> Obstacle:
    return catalog.make(name, level, wheelbase=YARD.wheelbase, tyre_radius=YARD.tyre_radius, seed=3, scale=YARD.scale)


def through_a_file(obstacle: Obstacle, path: Path) -> Obstacle:
    with path.open("wb") as file:
        shared.write(obstacle, file)
    return shared.attach(path)


@pytest.mark.parametrize("name", [*FAMILIES, str(COURSE)])
def test_everything_comes_back_to_the_bit(name: str, tmp_path: Path) -> None:
    there = made(name, FAMILIES[name].levels(YARD)[1] if name in FAMILIES else 100.0)
    back = through_a_file(there, tmp_path / "x.ground")
    assert np.array_equal(back.ground.z, there.ground.z)
    assert np.array_equal(back.ground.coarse, there.ground.coarse)
    assert (back.ground.origin, back.ground.spacing) == (there.ground.origin, there.ground.spacing)
    assert np.array_equal(back.lane, there.lane)
    for field in fields(Obstacle):
        if field.name not in ("ground", "lane"):
            value = getattr(back, field.name)
            assert value == getattr(there, field.name)
            assert type(value) is type(getattr(there, field.name))


def test_compiled_kernels_take_it_like_any_other(tmp_path: Path) -> None:
    """Writable, aligned, C-ordered: the very type that the kernels are compiled for."""
    ground = through_a_file(made("ledge", 20.0), tmp_path / "x.ground").ground
    for values in (ground.z, ground.coarse):
        assert values.dtype == np.float64
        assert values.flags.c_contiguous
        assert values.flags.writeable
        assert values.flags.aligned


def test_mapping_does_not_copy(tmp_path: Path) -> None:
    """What is written to the file shows in a ground attached before: it is the same memory."""
    path = tmp_path / "x.ground"
    first, second = through_a_file(made("ledge", 20.0), path), shared.attach(path)
    height = first.ground.z[7, 8].tobytes()
    with path.open("r+b") as file, mmap.mmap(file.fileno(), 0) as pages:
        at = pages.find(first.ground.z[7, 8:10].tobytes())
        pages[at : at + 8] = np.float64(42.0).tobytes()
    assert height != np.float64(42.0).tobytes()
    assert first.ground.z[7, 8] == second.ground.z[7, 8] == 42.0
    # A process's own write stays its own.
    first.ground.z[0, 0] = -1.0
    assert second.ground.z[0, 0] != -1.0


def test_mapped_ground_outlives_its_file(tmp_path: Path) -> None:
    path = tmp_path / "x.ground"
    kept = through_a_file(made("ledge", 20.0), path)
    path.unlink()
    assert np.array_equal(kept.ground.z, made("ledge", 20.0).ground.z)


@pytest.mark.parametrize("shape", [(2, 2), (9, 9), (10, 17), (129, 8), (130, 257), (300, 41)])
def test_coarse_map_block_by_block(shape: tuple[int, int]) -> None:
    """Against the definition, one block at a time: highest node of it, sharpest change of slope in it."""
    z = np.random.default_rng(5).normal(size=shape)
    spacing = 0.003
    nx, ny = shape
    bend = np.zeros(shape)
    bend[1:-1] = np.abs(2.0 * z[1:-1] - z[2:] - z[:-2])
    bend[:, 1:-1] = np.maximum(bend[:, 1:-1], np.abs(2.0 * z[:, 1:-1] - z[:, 2:] - z[:, :-2]))
    found = coarse_map(z, spacing)
    assert found.shape == (-(-(nx - 1) // BLOCK), -(-(ny - 1) // BLOCK), 2)
    for i in range(found.shape[0]):
        for j in range(found.shape[1]):
            here = np.s_[i * BLOCK : (i + 1) * BLOCK + 1, j * BLOCK : (j + 1) * BLOCK + 1]
            assert found[i, j, 0] == z[here].max()
            inner = here[0].stop <= nx - 1 and here[1].stop <= ny - 1
            if inner:
                assert found[i, j, 1] == bend[here].max() / spacing
            else:  # ground that goes on level past the grid's end may bend there once more
                assert found[i, j, 1] >= bend[here].max() / spacing


def test_coarse_map_is_made_once() -> None:
    ground = Heightfield.of(np.zeros((40, 40)), (0.0, 0.0), 0.01)
    assert ground.coarse is ground.coarse
