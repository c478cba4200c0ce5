"""A builder's own file, whatever its kind, as ground."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain import grid_file, holes, image_file, mesh_file
from terrain.errors import TerrainError
from terrain.heightfield import Heightfield, check_size, sample
from terrain.intake import MAX_FILE_BYTES, MOST_FILLED, Intake, IntakeReport, check_plausible
from terrain.raster import Progress
from terrain.regular_file import check_regular

SUFFIXES = (*mesh_file.SUFFIXES, *image_file.SUFFIXES, *grid_file.SUFFIXES)


def import_ground(
    path: Path, intake: Intake, cell: float, progress: Progress | None = None
) -> tuple[Heightfield, IntakeReport]:
    """Read a mesh, height image or grid as ground: x from 0, y about 0, lowest point at z = 0.

    ``cell`` is the node spacing (m) for a mesh when the intake names none; ``progress`` is called with 0 to 1.
    Raises TerrainError with file, field and remedy for anything unusable.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise TerrainError("no known kind of ground", file=path, remedy=f"use one of {' '.join(SUFFIXES)}")
    check_regular(path, MAX_FILE_BYTES, "scan")
    if suffix in mesh_file.SUFFIXES:
        z, step, facts = mesh_file.mesh_heights(path, intake, cell, progress)
        return _described(path, z, step, kind="mesh", **facts)
    if suffix in image_file.SUFFIXES:
        z, step = image_file.read_image(path, intake)
        kind = "image"
    else:
        z, step = grid_file.read_grid(path, intake)
        kind = "grid"
    return _described(path, _checked(path, z, step, intake), step, intake.spacing, kind=kind)


def _checked(path: Path, z: NDArray[np.float64], step: float, intake: Intake) -> NDArray[np.float64]:
    """Crop a grid that was read whole; raise TerrainError for heights that are no ground."""
    if intake.up not in (None, "z") or intake.turn_deg != 0.0:
        raise TerrainError("only a mesh can be turned", file=path, field="up, turn_deg", remedy="turn the grid itself")
    if np.isinf(z).any():
        raise TerrainError("some heights are infinite", file=path, remedy="mark missing heights as nan or no-data")
    z = _cropped(path, z, step, intake)
    missing = np.isnan(z).mean()
    if missing > MOST_FILLED:
        raise TerrainError(f"{100 * missing:.0f} % of the heights are missing (nan)", file=path,
                           remedy="crop to the good part")
    return z


def _described(
    path: Path, z: NDArray[np.float64], step: float, spacing: float | None = None, **facts: Any
) -> tuple[Heightfield, IntakeReport]:
    """Fill and resample heights ``step`` m apart, with the report on them; ``facts`` are fields of it."""
    missing, inner = np.isnan(z), holes.inner_holes(z)
    z = holes.fill(z)
    z = z - z.min()
    size = ((z.shape[0] - 1) * step, (z.shape[1] - 1) * step, float(z.max()))
    check_plausible(path, size)
    ground = Heightfield.of(z, (0.0, -0.5 * size[1]), step)
    if spacing is not None:
        ground = resampled(ground, spacing)
    report = IntakeReport(
        source=path.name,
        size_mm=(1000 * size[0], 1000 * size[1], 1000 * size[2]),
        nodes=(ground.z.shape[0], ground.z.shape[1]),
        spacing_mm=1000 * ground.spacing,
        holes_percent=100 * float(inner.mean()),
        outside_percent=100 * float((missing & ~inner).mean()),
        **facts,
    )
    return ground, report


def _cropped(path: Path, z: NDArray[np.float64], step: float, intake: Intake) -> NDArray[np.float64]:
    if intake.crop_mm is None:
        return z
    a, b, c, d = (0.001 * value / step for value in intake.crop_mm)
    i = slice(max(0, round(a)), min(z.shape[0], round(b) + 1))
    j = slice(max(0, round(c)), min(z.shape[1], round(d) + 1))
    part = z[i, j]
    if min(part.shape) < 2:
        span = f"0,{1000 * step * (z.shape[0] - 1):.4g},0,{1000 * step * (z.shape[1] - 1):.4g}"
        raise TerrainError("the crop misses the grid", file=path, field="crop_mm", remedy=f"the grid spans {span} mm")
    return part


def resampled(ground: Heightfield, spacing: float) -> Heightfield:
    """The same ground on nodes ``spacing`` m apart (bilinear; features under two old or new cells are lost)."""
    x_min, x_max, y_min, y_max = ground.extent
    shape = (int((x_max - x_min) / spacing + 1e-3) + 1, int((y_max - y_min) / spacing + 1e-3) + 1)
    check_size(shape)
    x = x_min + spacing * np.arange(shape[0])
    y = y_min + spacing * np.arange(shape[1])
    return Heightfield.of(sample(ground, x[:, None], y[None, :]), ground.origin, spacing)
