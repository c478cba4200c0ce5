"""What the builder says about a scan, and what became of it."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field

from terrain.errors import TerrainError

UNITS = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
GLTF = (".glb", ".gltf")
UP_AXES = ("x", "y", "z", "-x", "-y", "-z")
LONGEST_SIDE = 20.0
"""m: no ground for a model truck is longer."""
HIGHEST = 3.0
"""m of relief."""
SHORTEST_SIDE = 0.05
MOST_FILLED = 0.25
"""Share of the ground that may be filled in."""
MAX_FILE_BYTES = 2_000_000_000


@dataclass(frozen=True)
class Intake:
    """How to read a file as ground. Lengths in m unless the name says otherwise.

    Raises TerrainError for an unknown unit or axis, or a size that is not positive.
    """

    unit: str | None = None
    """Of the file's numbers: mm, cm, m, in, ft. None takes m for GLB (its standard says so), else mm."""
    shrink: float = 1.0
    """Divide all lengths by this: 24 makes a full-size rock 1/24."""
    up: str | None = None
    """Axis that points up: x, y, z, -x, -y, -z. None takes y for GLB (its standard says so), else z."""
    turn_deg: float = 0.0
    """Turn about the plumb line, anticlockwise from above, before cropping."""
    crop_mm: tuple[float, float, float, float] | None = None
    """x from, x to, y from, y to, as the ground lies after scaling and turning."""
    spacing: float | None = None
    """Node spacing; None keeps a grid's own, and takes the truck's cell for a mesh."""
    pixel_mm: float | None = None
    """Size of a height image's pixel (or a bare grid's cell) after shrinking."""
    relief_mm: tuple[float, float] | None = None
    """Heights of an image's black and white after shrinking."""
    thin_mm: float = 0.0
    """Merge mesh points closer than this (decimation); 0 leaves the mesh alone."""

    def __post_init__(self) -> None:
        if self.unit is not None and self.unit not in UNITS:
            raise TerrainError("no such unit", field="unit", value=self.unit, remedy=f"use one of {', '.join(UNITS)}")
        if self.up is not None and self.up not in UP_AXES:
            raise TerrainError("no such axis", field="up", value=self.up, remedy=f"use one of {', '.join(UP_AXES)}")
        for name, value in (("shrink", self.shrink), ("spacing", self.spacing), ("pixel_mm", self.pixel_mm)):
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise TerrainError("must be above zero", field=name, value=value)
        if not (math.isfinite(self.thin_mm) and self.thin_mm >= 0.0):
            raise TerrainError("must not be negative", field="thin_mm", value=self.thin_mm)
        if not math.isfinite(self.turn_deg):
            raise TerrainError("must be a number", field="turn_deg", value=self.turn_deg)
        if self.crop_mm is not None:
            a, b, c, d = self.crop_mm
            if not (a < b and c < d):
                raise TerrainError("an empty crop", field="crop_mm", value=self.crop_mm,
                                   remedy="give x from, x to, y from, y to")
        if self.relief_mm is not None and not self.relief_mm[0] < self.relief_mm[1]:
            raise TerrainError("black must be lower than white", field="relief_mm", value=self.relief_mm,
                               remedy="give low, high")

    def axis_up(self, suffix: str) -> str:
        """The axis that points up in a file of this kind."""
        return self.up if self.up is not None else "y" if suffix in GLTF else "z"

    def factor(self, suffix: str) -> float:
        """m per file unit."""
        unit = self.unit if self.unit is not None else "m" if suffix in GLTF else "mm"
        return UNITS[unit] / self.shrink


@dataclass(frozen=True)
class IntakeReport:
    """What was read and what was lost, in bench units."""

    source: str
    kind: str
    """mesh, image or grid."""
    size_mm: tuple[float, float, float]
    """Length, width and relief of the ground."""
    nodes: tuple[int, int]
    spacing_mm: float
    triangles: int = 0
    triangles_used: int = 0
    holes_percent: float = 0.0
    """Nodes inside the ground that had no height and were filled."""
    outside_percent: float = 0.0
    """Nodes beyond the scan's edge that were filled."""
    overhang_percent: float = 0.0
    """Nodes with ground hidden under an overhang: lost."""
    overhang_mm: float = 0.0
    """Deepest hidden ground below the surface that was kept."""
    notes: tuple[str, ...] = field(default=())

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return asdict(self)


def check_plausible(file: object, size: tuple[float, float, float]) -> None:
    """Raise TerrainError for ground (length, width, relief; m) that no model truck could drive."""
    length, width, relief = size
    remedy = "check --unit (a scan in mm read as m is 1000 times too big) and --shrink"
    if max(length, width) > LONGEST_SIDE:
        raise TerrainError(f"the ground would be {max(length, width):.4g} m long", file=file, field="unit",
                           remedy=remedy)
    if relief > HIGHEST:
        raise TerrainError(f"the ground would be {relief:.4g} m high", file=file, field="unit", remedy=remedy)
    if min(length, width) < SHORTEST_SIDE:
        raise TerrainError(f"the ground would be only {1000 * min(length, width):.3g} mm across", file=file,
                           field="unit", remedy=remedy)


def numbers_of(field: str, text: str | None, count: int) -> tuple[float, ...] | None:
    """Read numbers with commas between; None for none.

    :raises TerrainError: Not as many numbers.
    """
    if text is None:
        return None
    try:
        values = tuple(float(part) for part in text.split(","))
    except ValueError:
        values = ()
    if len(values) != count:
        raise TerrainError(f"needs {count} numbers with commas", field=field, value=text)
    return values


def lane_of(field: str, text: str | None) -> tuple[tuple[float, float], ...]:
    """Read the points of a lane: ``x,y;x,y;...``.

    :raises TerrainError: Not points.
    """
    points = [numbers_of(field, part, 2) for part in text.split(";")] if text is not None else []
    return tuple((point[0], point[1]) for point in points if point is not None)
