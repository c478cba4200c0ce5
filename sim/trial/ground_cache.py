"""Where a trial happens: an obstacle without its level, and the truck size that the ground is made for."""

from __future__ import annotations

import hashlib
import json
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

from sim.errors import SimError
from sim.trial.luck import level_text
from terrain import catalog, file_name, pool
from terrain.obstacle import Obstacle, mirrored

KEPT, KEPT_MB = 8, 64
"""How many grounds a process keeps at hand at most, and how large they may be together; the last one always."""


@dataclass(frozen=True)
class Yard:
    """Measures of the truck by which ground is sized; shared by every truck that is compared."""

    wheelbase_mm: float
    tyre_radius_mm: float
    scale: float

    def text(self) -> str:
        """As it stands in keys and in the store: wheelbase x tyre radius @ scale, mm."""
        return f"{self.wheelbase_mm:.6g}x{self.tyre_radius_mm:.6g}@{self.scale:.6g}"

    @staticmethod
    def from_text(text: str) -> Yard:
        """Inverse of :meth:`text`."""
        lengths, scale = text.split("@")
        wheelbase, radius = lengths.split("x")
        return Yard(float(wheelbase), float(radius), float(scale))


def obstacle_text(family: str, detail: dict[str, float]) -> str:
    """Family and parameters in one spelling: names in full, in alphabetical order."""
    return ",".join([family, *(f"{key}={level_text(value)}" for key, value in sorted(detail.items()))])


def split(text: str) -> tuple[str, float]:
    """Split what a person wrote (``ledge-on-slope:30,slope=15``) into obstacle and level.

    :raises TerrainError: Not an obstacle.
    """
    request = catalog.parse(text)
    return obstacle_text(request.family, request.detail), request.level


def with_level(obstacle: str, level: float) -> str:
    """Inverse of :func:`split`: what a person would write."""
    family, comma, rest = obstacle.partition(",")
    return f"{family}:{level_text(level)}{comma}{rest}"


def shown(obstacle: str, level: float) -> str:
    """The same for people, and for pages that others see: a file without its folder."""
    return with_level(file_name.without_folder(obstacle), level)


def unit(obstacle: str) -> str:
    """Unit of an obstacle's level: mm, deg, ..."""
    return catalog.family_named(obstacle.partition(",")[0]).unit


class _Kept:
    """The last grounds of this process: trucks that are compared drive the same one in turn."""

    def __init__(self) -> None:
        self._last: OrderedDict[tuple[object, ...], Obstacle] = OrderedDict()
        self._alone = Lock()

    def get(self, place: tuple[object, ...], make: Callable[[], Obstacle]) -> Obstacle:
        """The obstacle of a place: kept, shared by another process, or made."""
        with self._alone:
            found = self._last.pop(place, None)
        if found is None:
            found = pool.obstacle(hashlib.sha256(json.dumps(place).encode()).hexdigest()[:32], make)
        with self._alone:
            self._last[place] = found
            while len(self._last) > 1 and (len(self._last) > KEPT or self._bytes() > KEPT_MB * 2**20):
                self._last.popitem(last=False)
        return found

    def _bytes(self) -> int:
        return sum(obstacle.ground.z.nbytes for obstacle in self._last.values())


_kept = _Kept()


def ground(
    obstacle: str, level: float, yard: str, roughness_mm: float | None, rock_seed: int, mirror: bool = False
) -> Obstacle:
    """Make the ground of a trial, or find it made: by this process, or by another that shares with it."""
    name, parameters, _ = obstacle.partition(",")
    seed = rock_seed if parameters or file_name.depends_on_seed(name, roughness_mm) else 0
    place = (obstacle, level_text(level), yard, roughness_mm, seed, *(["mirrored"] if mirror else []))

    def make() -> Obstacle:
        made = _made(obstacle, level, yard, roughness_mm, seed)
        return mirrored(made) if mirror else made

    return _kept.get(place, make)


def _made(obstacle: str, level: float, yard: str, roughness_mm: float | None, seed: int) -> Obstacle:
    size = Yard.from_text(yard)
    request = catalog.parse(with_level(obstacle, level))
    detail = dict(request.detail)
    if roughness_mm is not None:
        detail.setdefault(catalog.ROUGHNESS, roughness_mm)
    made: Obstacle = catalog.make(request.family, request.level, wheelbase=1e-3 * size.wheelbase_mm,
                                  tyre_radius=1e-3 * size.tyre_radius_mm, seed=seed, scale=size.scale, **detail)
    return made


def check(obstacle: str, level: float, yard: str) -> None:
    """Make the ground once, smooth, so that a bad level is told before a study starts.

    Texture depends on no level and takes nine tenths of the time: a plan of a thousand levels is to answer at once.

    :raises TerrainError: Level or parameter out of range.
    :raises SimError: No lane to follow.
    """
    made = ground(obstacle, level, yard, 0.0, 0)
    if len(made.lane) < 2:
        raise SimError("the obstacle has no lane to follow", field="obstacle", value=with_level(obstacle, level))
