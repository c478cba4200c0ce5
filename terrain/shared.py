"""One copy of a height grid for all processes of a machine.

The owner writes the heights once into a file that lives in memory (``/dev/shm`` where there is one); workers map it.
The pages are shared by all of them; a worker that writes would get private copies of the pages it touched.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from terrain.errors import TerrainError
from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle

MEMORY_FOLDER = Path("/dev/shm")


@dataclass(frozen=True)
class SharedGround:
    """What a worker needs to find a shared grid: small, and safe to send to any process of this machine."""

    path: str
    shape: tuple[int, int]
    origin: tuple[float, float]
    spacing: float


@contextmanager
def shared(ground: Heightfield) -> Iterator[SharedGround]:
    """Share a grid for the length of the block; afterwards no new process can attach, and the memory goes."""
    folder = MEMORY_FOLDER if MEMORY_FOLDER.is_dir() else None
    with tempfile.NamedTemporaryFile(prefix="cragbench-ground-", suffix=".f64", dir=folder, delete=False) as file:
        path = Path(file.name)
        try:
            ground.z.tofile(file)
        except OSError:
            path.unlink(missing_ok=True)
            raise
    try:
        nx, ny = ground.z.shape
        yield SharedGround(str(path), (nx, ny), ground.origin, ground.spacing)
    finally:
        path.unlink(missing_ok=True)


def attach(handle: SharedGround) -> Heightfield:
    """Map a shared grid: no copy, and an ordinary array to whoever uses it.

    Raises TerrainError when the owner has already taken it away.
    """
    try:
        mapped = np.memmap(handle.path, dtype=np.float64, mode="c", shape=handle.shape)
    except (OSError, ValueError) as error:
        raise TerrainError("the shared ground is gone", file=handle.path, remedy="keep its owner running") from error
    return Heightfield(np.asarray(mapped), handle.origin, handle.spacing)


@contextmanager
def shared_obstacle(obstacle: Obstacle) -> Iterator[tuple[SharedGround, Obstacle]]:
    """Share an obstacle's ground; the obstacle yielded beside the handle carries a token grid, cheap to send.

    A worker puts the two together again with :func:`attach_obstacle`.
    """
    token = Heightfield(np.zeros((2, 2)), obstacle.ground.origin, obstacle.ground.spacing)
    with shared(obstacle.ground) as handle:
        yield handle, replace(obstacle, ground=token)


def attach_obstacle(handle: SharedGround, sent: Obstacle) -> Obstacle:
    """The obstacle with its shared ground."""
    return replace(sent, ground=attach(handle))
