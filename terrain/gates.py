"""Gates on a course: passed, skipped, markers touched, told from where the wheels went."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Gate:
    """Two markers to drive between."""

    name: str
    x: float
    """Middle, m."""
    y: float
    heading: float
    """rad about z, the way it is driven through."""
    width: float
    """Between the markers, m."""

    def markers(self) -> Points:
        """(2, 2) x, y of the left and the right marker, m."""
        left = 0.5 * self.width * np.array([-math.sin(self.heading), math.cos(self.heading)])
        middle = np.array([self.x, self.y])
        return np.stack([middle + left, middle - left])

    def local(self, points: Points) -> tuple[Points, Points]:
        """(ahead, left) of points (..., 2) as seen from the gate's middle, m."""
        d = points - [self.x, self.y]
        c, s = math.cos(self.heading), math.sin(self.heading)
        return d[..., 0] * c + d[..., 1] * s, d[..., 1] * c - d[..., 0] * s


@dataclass(frozen=True)
class Passage:
    """What happened at one gate."""

    name: str
    passed_at: int | None
    """Index of the sample at which the last wheel was through, or None."""
    skipped: bool
    """All wheels went by outside the markers."""
    touched: int
    """Markers touched, 0 to 2."""


def passages(gates: tuple[Gate, ...], wheels: Points, reach: float) -> tuple[Passage, ...]:
    """Judge every gate from the wheels' ground points.

    ``wheels`` is (n, k, 2) x, y (m) over time for k wheels. A gate is passed once every wheel has crossed its line
    forward between the markers, and gates count in order only. A marker is touched when a wheel comes within
    ``reach`` (m: half a tyre's width). A gate is skipped when all wheels are beyond it without passing it.
    """
    found = []
    from_sample = 0
    for gate in gates:
        through = [_crossing(gate, wheels[:, k], from_sample) for k in range(wheels.shape[1])]
        done = [at for at in through if at is not None]
        passed = max(done) if len(done) == len(through) else None
        beyond = bool(np.all(gate.local(wheels[-1])[0] > 0.0)) if len(wheels) else False
        distance = np.linalg.norm(wheels[:, :, None, :] - gate.markers()[None, None], axis=-1)
        touched = int(np.count_nonzero(distance.min(axis=(0, 1)) < reach)) if len(wheels) else 0
        found.append(Passage(gate.name, passed, passed is None and beyond, touched))
        if passed is not None:
            from_sample = min(done)
    return tuple(found)


def _crossing(gate: Gate, track: Points, start: int) -> int | None:
    """First sample from ``start`` on at which a wheel has gone forward through the gate, or None."""
    ahead, left = gate.local(track[start:])
    before, after = ahead[:-1], ahead[1:]
    crosses = np.flatnonzero((before <= 0.0) & (after > 0.0))
    for k in crosses:
        share = -before[k] / (after[k] - before[k])
        if abs(left[k] + share * (left[k + 1] - left[k])) < 0.5 * gate.width:
            return start + int(k) + 1
    return None


def reverses(distance: Points, least: float) -> int:
    """How often the truck turned back: drops of more than ``least`` m in the distance (n,) along the lane, m.

    A drop counts once, and again only after the truck went forward by ``least`` from its lowest point.
    """
    count, peak, low, backing = 0, -math.inf, math.inf, False
    for s in distance:
        if backing:
            low = min(low, float(s))
            if s > low + least:
                backing, peak = False, float(s)
        else:
            peak = max(peak, float(s))
            if s < peak - least:
                backing, low, count = True, float(s), count + 1
    return count
