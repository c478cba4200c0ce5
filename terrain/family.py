"""What a family of obstacles declares about itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from terrain.errors import TerrainError
from terrain.piece import Piece
from terrain.yardstick import Yardstick

UNIT_SUFFIXES = ("_mm", "_deg", "_percent", "_share")


@dataclass(frozen=True)
class Parameter:
    """A number beside the level, in the bench unit its name ends in."""

    name: str
    default: float
    low: float
    high: float
    meaning: str

    @property
    def short(self) -> str:
        """The name without its unit."""
        for suffix in UNIT_SUFFIXES:
            if self.name.endswith(suffix):
                return self.name.removesuffix(suffix)
        return self.name

    def check(self, family: str, value: float) -> float:
        """Return the value; raise TerrainError outside [low, high] or for nan."""
        return within(f"{family}: {self.name}", value, self.low, self.high)


@dataclass(frozen=True)
class Family:
    """One kind of obstacle with its difficulty axis."""

    name: str
    unit: str
    """Of the level: mm, deg, class, ..."""
    summary: str
    build: Callable[..., Piece]
    """(level, yardstick, generator, **parameters) -> piece."""
    levels: Callable[[Yardstick], tuple[float, ...]]
    """Easy, middling and hard level for a truck of this size (common practice, no source)."""
    limit: Callable[[Yardstick], tuple[float, ...]]
    """Lowest and highest level that make sense at all."""
    parameters: tuple[Parameter, ...] = ()
    standard: str = ""
    """Published source of its dimensions, if there is one."""
    one_sided: bool = False
    """Treats left and right differently: studies drive it as it is and mirrored by turns."""
    roughness_share: float | None = None
    """Default roughness in tyre radii; None takes the common default."""

    def parameter(self, name: str) -> Parameter:
        """Find a parameter by its name, with or without the unit; raise TerrainError if there is none."""
        for parameter in self.parameters:
            if name in (parameter.name, parameter.short):
                return parameter
        known = ", ".join(p.name for p in self.parameters) or "it has none"
        raise TerrainError("no such parameter", field=self.name, value=name, remedy=f"parameters: {known}")


def within(field: str, value: float, low: float, high: float) -> float:
    """Return the value if low <= value <= high, else raise TerrainError naming the range."""
    if not low <= value <= high:
        raise TerrainError("out of range", field=field, value=float(value), remedy=f"use {low:.4g} to {high:.4g}")
    return float(value)
