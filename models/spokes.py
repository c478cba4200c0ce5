"""What counting single spokes does to the tyre: its load on a flat plate by wheel position, and the ripple."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import TyreRing
from models.tyre import tabulated

Vector = NDArray[np.float64]


def counted_load(ring: TyreRing, height: float, phase: float) -> float:
    """Load (N) of the single spokes on a flat plate this far (m) under the wheel centre.

    :param phase: angle (rad) of the first spoke from straight down.
    """
    law = tabulated(ring.law_step, ring.law_force)
    angle = phase + 2.0 * math.pi * np.arange(ring.n_round) / ring.n_round
    down = np.cos(angle)
    down = down[down > height / float(ring.row_radius.max())]
    total = 0.0
    for radius in ring.row_radius:
        short = radius - height / down
        total += float(np.sum(np.where(short > 0.0, law(np.maximum(short, 0.0)) * down, 0.0)))
    return total


def ripple(ring: TyreRing, height: float, positions: int = 40) -> tuple[float, float]:
    """Mean load (N) over the wheel's turn and its swing, largest less smallest over the mean."""
    phases = 2.0 * math.pi / ring.n_round * np.arange(positions) / positions
    loads = np.array([counted_load(ring, height, float(phase)) for phase in phases])
    return float(loads.mean()), float(np.ptp(loads) / loads.mean())
