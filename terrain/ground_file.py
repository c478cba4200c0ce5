"""Imported ground on disk: heights as 32-bit numbers, and what is known about them, in one compressed file."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from terrain.archive import BROKEN, SMALL, array, members, number
from terrain.course_file import FileRecord
from terrain.errors import TerrainError
from terrain.heightfield import MAX_NODES, Heightfield
from terrain.whole_file import whole

SUFFIX = ".ground.npz"
MAX_DESCRIPTION = 1_000_000
MOST_RELIEF = 1000.0
"""m above or below zero."""
Point = tuple[float, float]


class Description(FileRecord):
    """What a ground file says beside its heights. Lengths in mm, in the ground's own x and y."""

    schema_: int = Field(default=1, alias="schema", ge=1, le=1)
    name: Annotated[str, Field(min_length=1, max_length=200)]
    lane_mm: Annotated[tuple[Point, ...], Field(max_length=10_000)] = ()
    """The line to drive; empty means straight along x through the middle, with level ground put before and behind."""
    lane_half_width_mm: Annotated[float, Field(gt=0)] | None = None
    report: dict[str, Any] = Field(default_factory=dict)
    """How it was imported."""

    def lane(self) -> NDArray[np.float64] | None:
        """The lane in m, (n, 2), or None."""
        return 0.001 * np.array(self.lane_mm) if self.lane_mm else None


def save_ground(path: Path, ground: Heightfield, description: Description) -> int:
    """Write a ground file and return its size in bytes; it appears only when whole."""
    text = json.dumps(description.model_dump(by_alias=True, mode="json"))
    with whole(path) as part:
        np.savez_compressed(part, z=ground.z.astype(np.float32), origin=np.array(ground.origin),
                            spacing=np.array(ground.spacing),
                            description=np.frombuffer(text.encode("utf-8"), dtype=np.uint8))
    return path.stat().st_size


def is_ground_file(path: Path) -> bool:
    """Whether an archive was written by :func:`save_ground` (by its entries, not its name)."""
    try:
        with zipfile.ZipFile(path) as archive:
            return {"z.npy", "origin.npy", "spacing.npy", "description.npy"} <= set(archive.namelist())
    except (OSError, zipfile.BadZipFile):
        return False


def load_ground(path: Path) -> tuple[Heightfield, Description]:
    """Read a ground file; raise TerrainError for anything else. Nothing large is unpacked before its size is known."""
    remedy = "make one with: cragbench terrain import"
    if not path.is_file():
        raise TerrainError("no such file", file=path, remedy=remedy)
    if not is_ground_file(path):
        raise TerrainError("not a ground file", file=path, remedy=remedy)
    try:
        sizes = members(path)
        if sizes["z"] > 4 * MAX_NODES + SMALL or sizes["description"] > MAX_DESCRIPTION:
            raise TerrainError("unpacks to more than the size limit", file=path, remedy="use a coarser spacing")
        z, origin = array(path, "z"), array(path, "origin", SMALL)
        if origin.shape != (2,) or origin.dtype.kind not in "fiu" or z.dtype.kind not in "fiu":
            raise TerrainError("heights and origin must be real numbers, the origin two", file=path, field="origin")
        ground = Heightfield.of(z, tuple(origin.tolist()), number(path, "spacing"))
        _check_heights(ground)
        description = Description.model_validate_json(array(path, "description", MAX_DESCRIPTION).tobytes())
    except TerrainError as error:
        raise TerrainError(error.what, file=path, field=error.field, remedy=error.remedy) from None
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise TerrainError(first["msg"], file=path, field=field, remedy=remedy) from None
    except BROKEN as error:
        raise TerrainError(f"damaged ({type(error).__name__})", file=path, remedy=remedy) from error
    return ground, description


def _check_heights(ground: Heightfield) -> None:
    """Numbers that no ground for a model truck has are refused before anything is computed from them."""
    relief = float(np.max(np.abs(ground.z)))
    if relief > MOST_RELIEF:
        raise TerrainError(f"heights of {relief:.3g} m", field="z", remedy="import it again with --unit")
