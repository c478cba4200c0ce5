"""Where a trial happens: an obstacle without its level, and the truck size that the ground is made for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from sim.draw import level_text
from sim.errors import SimError
from terrain import catalog
from terrain.obstacle import Obstacle


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

    Raises:
        TerrainError: Not an obstacle.
    """
    request = catalog.parse(text)
    return obstacle_text(request.family, request.detail), request.level


def with_level(obstacle: str, level: float) -> str:
    """Inverse of :func:`split`: what a person would write."""
    family, comma, rest = obstacle.partition(",")
    return f"{family}:{level_text(level)}{comma}{rest}"


def unit(obstacle: str) -> str:
    """Unit of an obstacle's level: mm, deg, ..."""
    return catalog.family_named(obstacle.partition(",")[0]).unit


@lru_cache(maxsize=8)
def ground(obstacle: str, level: float, yard: str, roughness_mm: float | None, rock_seed: int) -> Obstacle:
    """Make the ground of a trial. The last few are kept: trucks that are compared drive the same one in turn."""
    size = Yard.from_text(yard)
    request = catalog.parse(with_level(obstacle, level))
    detail = dict(request.detail)
    if roughness_mm is not None:
        detail.setdefault(catalog.ROUGHNESS, roughness_mm)
    made: Obstacle = catalog.make(
        request.family,
        request.level,
        wheelbase=1e-3 * size.wheelbase_mm,
        tyre_radius=1e-3 * size.tyre_radius_mm,
        seed=rock_seed,
        scale=size.scale,
        **detail,
    )
    return made


def check(obstacle: str, level: float, yard: str) -> None:
    """Make the ground once and drop it, so that a bad level is told before a study starts.

    Raises:
        TerrainError: Level or parameter out of range.
        SimError: No lane to follow.
    """
    made = ground(obstacle, level, yard, None, 0)
    if len(made.lane) < 2:
        raise SimError("the obstacle has no lane to follow", field="obstacle", value=with_level(obstacle, level))
