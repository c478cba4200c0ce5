"""Plain height grids: ESRI ASCII, NumPy arrays, comma-separated tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain.archive import BROKEN, SMALL, array, members, number
from terrain.errors import TerrainError
from terrain.ground_file import is_ground_file
from terrain.heightfield import MAX_NODES, check_size
from terrain.intake import Intake

SUFFIXES = (".asc", ".npy", ".npz", ".csv")
Grid = NDArray[np.float64]
HEADER = ("ncols", "nrows", "xllcorner", "xllcenter", "yllcorner", "yllcenter", "cellsize", "nodata_value")


def read_grid(path: Path, intake: Intake) -> tuple[Grid, float]:
    """Heights (nx, ny), m, nan where there are none, and cell size, m.

    ESRI ASCII and CSV rows run along x from the left (+y) row down, as a map is printed; NumPy arrays are taken as
    ``z[i, j]`` with i along x and j along y. The cell size comes from the file (ESRI, or a ``cellsize`` or
    ``spacing`` entry of an .npz) or from ``pixel_mm``.
    """
    readers = {".asc": _esri, ".csv": _table, ".npy": _array, ".npz": _archive}
    try:
        z, cell = readers[path.suffix.lower()](path)
    except TerrainError as error:
        raise TerrainError(error.what, file=path, field=error.field, value=error.value, remedy=error.remedy) from None
    except BROKEN as error:
        reason = str(error).splitlines()[0].partition(";")[0] if str(error) else type(error).__name__
        raise TerrainError(f"not a height grid that can be read ({reason[:120]})", file=path,
                           remedy="write plain numbers, nan where there is none") from error
    check_size(z.shape)
    # Our own ground files are in m.
    own = intake.unit is None and is_ground_file(path)
    factor = 1.0 / intake.shrink if own else intake.factor(path.suffix.lower())
    if intake.pixel_mm is not None:
        step = 0.001 * intake.pixel_mm
    elif cell is not None:
        step = cell * factor
    else:
        raise TerrainError("the file does not say", file=path, field="pixel_mm", remedy="give --pixel-mm 2 (cell size)")
    if not (np.isfinite(step) and step > 0.0):
        raise TerrainError("must be above zero", file=path, field="cell size", value=step)
    return np.ascontiguousarray(z, dtype=np.float64) * factor, step


def _esri(path: Path) -> tuple[Grid, float | None]:
    head: dict[str, float] = {}
    with path.open("r", encoding="ascii", errors="replace") as file:
        place = file.tell()
        while len(head) < len(HEADER):
            words = file.readline().split()
            if len(words) != 2 or words[0].lower() not in HEADER:
                break
            head[words[0].lower()] = float(words[1])
            place = file.tell()
        for key in ("ncols", "nrows", "cellsize"):
            if key not in head:
                raise TerrainError("missing from the header", field=key, remedy="is it an ESRI ASCII grid?")
        for key in ("ncols", "nrows"):
            if not (np.isfinite(head[key]) and head[key] == int(head[key])):
                raise TerrainError("must be a whole number", field=key, value=head[key], remedy="export it again")
        shape = (int(head["nrows"]), int(head["ncols"]))
        check_size(shape)
        file.seek(place)
        values = np.fromiter((float(word) for line in file for word in line.split()), dtype=np.float64)
    if values.size != shape[0] * shape[1]:
        raise TerrainError(f"holds {values.size} heights, the header promises {shape[0] * shape[1]}",
                           remedy="export it again")
    rows = values.reshape(shape)
    if "nodata_value" in head:
        rows = np.where(rows == head["nodata_value"], np.nan, rows)
    return rows[::-1].T, head["cellsize"]


def _table(path: Path) -> tuple[Grid, float | None]:
    if path.stat().st_size > 30 * MAX_NODES:
        raise TerrainError("far above the size limit", remedy="crop it or use a coarser spacing")
    return np.loadtxt(path, delimiter=",", ndmin=2, encoding="utf-8")[::-1].T, None


def _numeric(z: NDArray[np.generic]) -> Grid:
    check_size(z.shape)
    if z.dtype.kind not in "fiu":
        raise TerrainError(f"holds {z.dtype} instead of numbers", field="z")
    return np.asarray(z, dtype=np.float64)


def _array(path: Path) -> tuple[Grid, float | None]:
    # Mapped, not read: the shape is checked before any height is loaded. Pickled objects are refused.
    return _numeric(np.load(path, mmap_mode="r", allow_pickle=False)), None


def _archive(path: Path) -> tuple[Grid, float | None]:
    sizes = members(path)
    name = next((key for key in ("z", "elevation", "heights") if key in sizes), next(iter(sizes), ""))
    if name == "":
        raise TerrainError("an archive without arrays", remedy="save it with numpy.savez")
    if sizes[name] > 8 * MAX_NODES + SMALL:
        raise TerrainError(f"unpacks to {sizes[name] / 1e6:.0f} MB, above the limit", field=name, remedy="crop it")
    z = _numeric(array(path, name))
    step = next((key for key in ("cellsize", "spacing") if key in sizes and sizes[key] < SMALL), None)
    return z, None if step is None else number(path, step)
