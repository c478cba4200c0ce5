"""A piece of ground that can stand alone or follow another on a course."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float64]
Shape = Callable[[Grid, Grid], Grid]
"""Height, m, at local x (m, 0 where the piece begins) and y (m, left of the lane); arrays broadcast together."""


@dataclass(frozen=True)
class Piece:
    """Ground between two level lines: 0 at local x = 0, ``rise`` at local x = ``length``.

    A shape must be defined beyond both ends too (continuing level, or as the same side slope).
    """

    length: float
    """Plan length along x, m."""
    shape: Shape
    finish: float
    """Local x at which a truck's CG shows that the whole truck has cleared the piece, m."""
    crux: tuple[float, float]
    """(from, to) local x of the difficulty, m."""
    rise: float = 0.0
    descending: bool = False
    cell: float | None = None
    """m; a finer grid that the piece needs, or None."""
    notes: tuple[tuple[str, float | str], ...] = ()
    """What was built, by name (scaled dimensions and the like), for the record."""
