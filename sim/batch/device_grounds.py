"""Grounds on a graphics processor: a pool that trials share."""

from __future__ import annotations

from collections import OrderedDict
from typing import Any

import numpy as np
from numba import cuda

from sim.errors import SimError
from sim.physics.ground_sampling import ground_arrays
from sim.trial import many
from terrain.obstacle import Obstacle

GROUND_MB = 8192
"""How much of the device's memory grounds may take."""


class Grounds:
    """The pool of grounds on the device; the one unused for longest makes room. New ones are sent when needed."""

    def __init__(self, count: int) -> None:
        """Make room for so many, as large as the largest that comes."""
        self._count = count
        self._place: OrderedDict[tuple[object, ...], int] = OrderedDict()
        self._empty = list(range(count))[::-1]
        self._users = np.zeros(count, dtype=int)
        self._shape: tuple[int, ...] = (0,) * 5
        self._wanted = self._shape
        self._new: set[int] = set()
        self._number = np.zeros((count, many.G_SIZE))
        self._held: list[Obstacle | None] = [None] * count
        self.on_device: Any = None

    def place(self, key: tuple[object, ...], obstacle: Obstacle) -> int | None:
        """Row of a ground, which is laid there if it is new and counted as used; None while all are in use."""
        if key in self._place:
            self._place.move_to_end(key)
        else:
            free = self._free()
            if free is None:
                return None
            self._lay(free, obstacle)
            self._place[key] = self._empty.pop()
        self._users[self._place[key]] += 1
        return self._place[key]

    def held(self, key: tuple[object, ...]) -> Obstacle | None:
        """The ground of this key, if it lies there."""
        return self._held[self._place[key]] if key in self._place else None

    def leave(self, place: int) -> None:
        """One user less."""
        self._users[place] -= 1

    def uploaded(self) -> Any:
        """The pool on the device, with all that was laid since."""
        if self._new:
            if self._wanted != self._shape:
                self._grow(self._wanted)
            else:
                for place in self._new:
                    self._write(place)
                self.on_device = self.on_device._replace(number=cuda.to_device(self._number))
            self._new.clear()
        return self.on_device

    def _free(self) -> int | None:
        """A place that holds nothing, after the ground unused for longest has been given up for it if need be."""
        if not self._empty:
            key = next((key for key, place in self._place.items() if not self._users[place]), None)
            if key is not None:
                self._empty.append(self._place.pop(key))
        return self._empty[-1] if self._empty else None

    def _lay(self, place: int, obstacle: Obstacle) -> None:
        ground, lane = ground_arrays(obstacle.ground), np.ascontiguousarray(obstacle.lane, dtype=float)
        (nx, ny), (bx, by, _) = ground.z.shape, ground.coarse.shape
        shape = tuple(max(a, b) for a, b in zip(self._wanted, (nx, ny, bx, by, len(lane)), strict=True))
        if self._count * shape[0] * shape[1] * 8 > GROUND_MB * 2**20:
            raise SimError("the ground is too large to lie on the device in so many places", field="ground",
                           value=f"{nx} x {ny} nodes", remedy="Run it on this machine's cores")  # fmt: skip
        self._held[place] = obstacle
        self._number[place] = (
            ground.x0, ground.y0, ground.per_cell, ground.per_block, ground.top, nx, ny, bx, by, len(lane)
        )  # fmt: skip
        self._wanted = shape
        self._new.add(place)

    def _write(self, place: int) -> None:
        obstacle = self._held[place]
        assert obstacle is not None
        ground, lane = ground_arrays(obstacle.ground), np.ascontiguousarray(obstacle.lane, dtype=float)
        rows = max(ground.z.shape[0], ground.coarse.shape[0], len(lane))
        many.lay[many.blocks(rows), many.GROUPS](
            cuda.to_device(np.ascontiguousarray(ground.z)), cuda.to_device(np.ascontiguousarray(ground.coarse)),
            cuda.to_device(lane), place, self.on_device,
        )  # fmt: skip

    def _grow(self, shape: tuple[int, ...]) -> None:
        """Make every place as large as the largest ground so far and lay all again."""
        self._shape = shape
        nx, ny, bx, by, corners = shape
        self.on_device = None  # given back before its successor is asked for
        self.on_device = many.Places(
            cuda.to_device(self._number), many.room((self._count, nx, ny)), many.room((self._count, bx, by, 2)),
            many.room((self._count, corners, 2)),
        )  # fmt: skip
        for place, obstacle in enumerate(self._held):
            if obstacle is not None:
                self._write(place)
