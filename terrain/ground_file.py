"""Imported ground on disk: heights as 32-bit numbers, and what is known about them, in one compressed file."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from terrain.course_file import FileRecord
from terrain.errors import TerrainError
from terrain.heightfield import MAX_NODES, Heightfield
from terrain.whole_file import whole

SUFFIX = ".ground.npz"
MAX_DESCRIPTION = 1_000_000
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
        np.savez_compressed(
            part,
            z=ground.z.astype(np.float32),
            origin=np.array(ground.origin),
            spacing=np.array(ground.spacing),
            description=np.frombuffer(text.encode("utf-8"), dtype=np.uint8),
        )
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
        with zipfile.ZipFile(path) as archive:
            sizes = {info.filename: info.file_size for info in archive.infolist()}
        if sizes["z.npy"] > 4 * MAX_NODES + 4096 or sizes["description.npy"] > MAX_DESCRIPTION:
            raise TerrainError("unpacks to more than the size limit", file=path, remedy="use a coarser spacing")
        with np.load(path, allow_pickle=False) as data:
            ground = Heightfield.of(data["z"], tuple(data["origin"].tolist()), float(data["spacing"]))
            description = Description.model_validate_json(data["description"].tobytes())
    except TerrainError as error:
        raise TerrainError(error.what, file=path, field=error.field, remedy=error.remedy) from None
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise TerrainError(first["msg"], file=path, field=field, remedy=remedy) from None
    except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile) as error:
        raise TerrainError(f"damaged ({type(error).__name__})", file=path, remedy=remedy) from error
    return ground, description
