"""The measures of a truck that ground is sized by."""

from __future__ import annotations

import math
from dataclasses import dataclass

from terrain.errors import TerrainError

CELLS_PER_TYRE_RADIUS = 14
CELL_STEP_MM = 0.5
REFERENCE_WHEELBASE = 3.2
"""m: full-size wheelbase taken when no scale is given (the 1/24 and 1/10 wheelbases of the trade times their
scale come to 3.1-3.7 m; common practice, no source)."""


@dataclass(frozen=True)
class Yardstick:
    """Wheelbase and tyre radius, m, and the scale (24 for 1/24) that obstacles are sized by.

    Raises TerrainError for a size no model truck has.
    """

    wheelbase: float
    tyre_radius: float
    scale: float = 0.0
    """0 means: judged from the wheelbase against ``REFERENCE_WHEELBASE``."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.wheelbase) and 0.02 <= self.wheelbase <= 2.0):
            raise TerrainError("a wheelbase lies between 0.02 and 2 m", field="wheelbase", value=self.wheelbase,
                               remedy="give metres")
        if not (math.isfinite(self.tyre_radius) and 0.005 <= self.tyre_radius <= 0.5 * self.wheelbase):
            raise TerrainError("a tyre radius lies between 0.005 m and half the wheelbase", field="tyre_radius",
                               value=self.tyre_radius, remedy="give metres")
        if self.scale == 0.0:
            object.__setattr__(self, "scale", REFERENCE_WHEELBASE / self.wheelbase)
        if not (math.isfinite(self.scale) and 1.0 <= self.scale <= 200.0):
            raise TerrainError("a scale lies between 1 and 200", field="scale", value=self.scale, remedy="24 is 1/24")

    @property
    def cell(self) -> float:
        """Grid spacing, m: a fourteenth of the tyre radius to the nearest half millimetre, at least that.

        2 mm at a 28 mm radius (1/24), 4.5 mm at 60 mm (1/10). A tread patch then spans six cells or more.
        """
        steps = max(1, round(1000.0 * self.tyre_radius / CELLS_PER_TYRE_RADIUS / CELL_STEP_MM))
        return steps * CELL_STEP_MM / 1000.0

    @property
    def face(self) -> float:
        """Plan width of a plumb face, m: what one cell of the usual grid can hold."""
        return self.cell

    def snap(self, length: float) -> float:
        """Nearest whole number of cells to a length, m."""
        return round(length / self.cell) * self.cell
