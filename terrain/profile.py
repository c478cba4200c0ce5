"""The side view of ground: straights and circular arcs that follow one another along x."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class _Stretch:
    """One straight (curvature 0) or arc; sin(slope) changes linearly with x along an arc."""

    x: float
    z: float
    slope: float
    curvature: float
    length: float

    def height(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        run = x - self.x
        if self.curvature == 0.0:
            return np.asarray(self.z + math.tan(self.slope) * run)
        sine = np.clip(math.sin(self.slope) + self.curvature * run, -1.0, 1.0)
        return np.asarray(self.z + (math.cos(self.slope) - np.sqrt(1.0 - sine**2)) / self.curvature)


@dataclass(frozen=True)
class Profile:
    """Height along x as straights and arcs joined without a kink; level before x = 0 and after the end.

    Grow one with :meth:`straight` and :meth:`arc`; each returns a longer profile.
    """

    stretches: tuple[_Stretch, ...] = ()
    length: float = 0.0
    """Plan length so far, m."""
    rise: float = 0.0
    """Height at the end, m."""
    slope: float = 0.0
    """Slope at the end, rad, up positive."""

    def straight(self, plan: float) -> Profile:
        """Go on at the present slope for ``plan`` m measured level."""
        stretch = _Stretch(self.length, self.rise, self.slope, 0.0, plan)
        return self._with(stretch, self.slope)

    def arc(self, slope: float, radius: float) -> Profile:
        """Turn to ``slope`` (rad, up positive, below a right angle) on a circle of ``radius`` m."""
        plan = radius * abs(math.sin(slope) - math.sin(self.slope))
        if plan == 0.0:
            return self
        curvature = math.copysign(1.0 / radius, slope - self.slope)
        return self._with(_Stretch(self.length, self.rise, self.slope, curvature, plan), slope)

    def _with(self, stretch: _Stretch, slope: float) -> Profile:
        end = float(stretch.height(np.asarray(stretch.x + stretch.length)))
        return Profile((*self.stretches, stretch), self.length + stretch.length, end, slope)

    def across(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same at every y: the profile as the shape of a piece."""
        return self(x) + 0.0 * y

    def __call__(self, x: ArrayLike) -> NDArray[np.float64]:
        """Height, m, at x (m, any shape)."""
        at = np.asarray(x, dtype=np.float64)
        z = np.where(at >= self.length, self.rise, 0.0)
        for stretch in self.stretches:
            within = (at >= stretch.x) & (at < stretch.x + stretch.length)
            z = np.where(within, stretch.height(np.where(within, at, stretch.x)), z)
        return z
