"""Laying a piece out as an obstacle: run-in, grid, roughness, lane and finish."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from terrain import noise
from terrain.heightfield import Heightfield, check_size
from terrain.obstacle import Obstacle, Pose
from terrain.piece import Grid, Piece
from terrain.yardstick import Yardstick

RUN_IN = 2.0
"""The piece begins this many wheelbases ahead of the rear axle's start, one ahead of the front axle's."""
BEHIND = 1.0
"""Ground behind the rear axle, wheelbases."""
AFTER = 1.5
"""Ground beyond the finish at least, wheelbases."""
HALF_WIDTH = 1.2
"""Ground to either side of the lane, wheelbases: room to slide."""
LANE_HALF_WIDTH = 0.75


def grid_over(x_range: tuple[float, float], y_range: tuple[float, float], cell: float) -> tuple[Grid, Grid]:
    """Node coordinates (nx, 1) and (1, ny), m, at whole multiples of ``cell`` covering both ranges."""
    i = (math.floor(x_range[0] / cell), math.ceil(x_range[1] / cell))
    j = (math.floor(y_range[0] / cell), math.ceil(y_range[1] / cell))
    check_size((i[1] - i[0] + 1, j[1] - j[0] + 1))
    x = cell * np.arange(i[0], i[1] + 1, dtype=np.float64)
    y = cell * np.arange(j[0], j[1] + 1, dtype=np.float64)
    return x[:, None], y[None, :]


def lay_out(
    piece: Piece, yard: Yardstick, rng: np.random.Generator, *, family: str, level: float, unit: str, rms: float,
    detail: dict[str, Any],
) -> Obstacle:
    """Make the obstacle: the piece after a level run-in, with roughness of ``rms`` m all over.

    The rear axle starts at x = y = 0 heading along +x, and the lane is the x axis.
    """
    wb = yard.wheelbase
    cell = piece.cell if piece.cell is not None else yard.cell
    begin = math.ceil(RUN_IN * wb / cell) * cell
    finish = begin + piece.finish
    end = max(finish + AFTER * wb, begin + piece.crux[1])
    x, y = grid_over((-BEHIND * wb, end), (-HALF_WIDTH * wb, HALF_WIDTH * wb), cell)
    z = piece.shape(x - begin, y)
    if rms > 0.0:
        z = z + noise.roughness(rng, yard.tyre_radius, cell, rms)(x, y)
    ground = Heightfield.of(z, (float(x[0, 0]), float(y[0, 0])), cell)
    return Obstacle(
        family=family,
        level=level,
        unit=unit,
        ground=ground,
        start=Pose(0.0, 0.0, 0.0),
        lane=np.array([[0.0, 0.0], [end - 0.25 * wb, 0.0]]),
        finish_s=finish,
        lane_half_width=LANE_HALF_WIDTH * wb,
        crux=(begin + piece.crux[0], begin + piece.crux[1]),
        descending=piece.descending,
        detail=_record(detail | {"cell_mm": cell * 1000.0} | dict(piece.notes)),
    )


def _record(values: dict[str, Any]) -> dict[str, Any]:
    """Numbers rounded to twelve figures, so that 4.500000000000001 mm is recorded as 4.5."""
    return {key: float(f"{value:.12g}") if isinstance(value, float) else value for key, value in values.items()}
