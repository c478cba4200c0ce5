"""Typical trucks by scale: the usual figure of everything a builder may leave open, and the range it lies in.

The figures stand in ``typical.toml`` with where they come from.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_name("typical.toml")
LOADED_RADIUS = 0.465
"""Height of a wheel's middle over the ground, in tyre diameters: a usual truck squashes its tyres by 3.5 %."""


@dataclass(frozen=True)
class Usual:
    """A usual figure and the range that holds nineteen of twenty trucks."""

    value: float
    low: float
    high: float

    @property
    def sigma(self) -> float:
        """Standard deviation that the range stands for."""
        return (self.high - self.low) / 4.0


@lru_cache(maxsize=1)
def tables() -> dict[str, Any]:
    """The data file."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def keys() -> tuple[str, ...]:
    """Names of the single figures, ``block.key``."""
    return tuple(f"{block}.{key}" for block, entries in tables()["value"].items() for key in entries)


def usual(key: str, scale: float) -> float:
    """Give the usual value of a ``block.key`` (or ``size.key``) at this scale (24 for 1/24)."""
    return typical(key, scale).value


def typical(key: str, scale: float) -> Usual:
    """Give the usual value of a ``block.key`` (or ``size.key``) and its range at this scale."""
    block, name = key.split(".")
    return between(tables()["size"][name] if block == "size" else tables()["value"][block][name], scale)


def between(entry: Mapping[str, Any], scale: float) -> Usual:
    """Interpolate an entry of the file to a scale."""
    return Usual(*(_at(entry[name], scale) for name in ("usual", "low", "high")))


def _at(figures: float | Sequence[float], scale: float) -> float:
    if isinstance(figures, int | float):
        return float(figures)
    at, values = np.log(tables()["scales"]), np.log(figures)
    first = 0 if scale < tables()["scales"][1] else 1
    slope = (values[first + 1] - values[first]) / (at[first + 1] - at[first])
    return float(f"{math.exp(values[first] + slope * (math.log(scale) - at[first])):.3g}")


@dataclass(frozen=True)
class Frame:
    """The sizes that a typical truck's places are scaled with; mm."""

    scale: float
    wheelbase: float
    track: tuple[float, float]
    """Front, rear."""
    hub: tuple[float, float]
    """Height of the wheels' middles, front and rear."""
    portal: tuple[float, float] = (0.0, 0.0)

    def place(self, at: Sequence[float], *, on_wheel: bool = False) -> list[float]:
        """A place of the file on this truck, mm."""
        along = min(max(at[0], 0.0), 1.0)
        level = [h + (0.0 if on_wheel else p) for h, p in zip(self.hub, self.portal, strict=True)]
        across = self.track[1] + along * (self.track[0] - self.track[1])
        height = level[1] + along * (level[0] - level[1])
        return [tenth(at[0] * self.wheelbase), tenth(at[1] * across), tenth(height + at[2] * self.wheelbase)]

    def size(self, size: Sequence[float], along: float) -> list[float]:
        """A size of the file on this truck, mm; ``along`` is where it stands, in wheelbases."""
        share = min(max(along, 0.0), 1.0)
        across = self.track[1] + share * (self.track[0] - self.track[1])
        return [tenth(size[0] * self.wheelbase), tenth(size[1] * across), tenth(size[2] * self.wheelbase)]


def tenth(value: float) -> float:
    """A length as it is written, to a tenth of a millimetre."""
    return round(value, 1) + 0.0


def mirrored(at: Sequence[float]) -> list[float]:
    """The place at the rear that mirrors one at the front."""
    return [1.0 - at[0], at[1], at[2]]
