"""A course as written in its file: legs in order, gates among them, and the rules it is scored by."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from terrain.errors import TerrainError

MAX_COURSE_BYTES = 1_000_000
Text = Annotated[str, Field(min_length=1, max_length=200)]
Positive = Annotated[float, Field(gt=0)]


class FileRecord(BaseModel):
    """Base of what a file of terrain says: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Leg(FileRecord):
    """One thing met on the way: an obstacle, free ground, or a gate that stands where the leg before it ended."""

    obstacle: Text | None = None
    """As ``ledge:30`` or ``boulders:40,cover=50``."""
    free_mm: Annotated[float, Field(gt=0, le=20_000)] | None = None
    undulation_mm: Annotated[float, Field(ge=0, le=200)] = 0.0
    """rms of the long waves of free ground."""
    gate: Text | None = None
    left_mm: Annotated[float, Field(ge=-5_000, le=5_000)] = 0.0
    """Middle of the gate, to the left of the course's centre line."""
    width_mm: Positive | None = None
    """Between the gate's markers; left out, one and a half wheelbases."""

    @model_validator(mode="after")
    def _one_kind(self) -> Leg:
        if sum(value is not None for value in (self.obstacle, self.free_mm, self.gate)) != 1:
            raise ValueError("a leg is one of obstacle, free_mm or gate")
        if self.gate is None and (self.left_mm != 0.0 or self.width_mm is not None):
            raise ValueError("left_mm and width_mm belong to a gate")
        if self.free_mm is None and self.undulation_mm != 0.0:
            raise ValueError("undulation_mm belongs to free_mm")
        return self


class Rules(FileRecord):
    """Points for what can happen; fewer is better. The defaults are common gate rules (common practice, no source)."""

    time_limit_s: Positive = 300.0
    gate_passed: float = -2.0
    marker_touched: float = 10.0
    reverse: float = 1.0
    boundary: float = 10.0
    reposition: float = 10.0
    rollover: float = 10.0
    gate_skipped: float = 20.0
    gate_not_reached: float = 20.0
    out_of_time: float = 0.0
    out_at: Positive | None = None
    """Points at which the run is over."""


class CourseFile(FileRecord):
    """The whole file."""

    schema_: Annotated[int, Field(alias="schema", ge=1, le=1)]
    name: Text
    invented: bool = False
    note: str = ""
    width_mm: Positive | None = None
    """Of the ground; left out, wide enough for every gate."""
    lane_half_width_mm: Positive | None = None
    """Leaving the lane by more counts as out of bounds; left out, three quarters of a wheelbase."""
    roughness_mm: Annotated[float, Field(ge=0, le=50)] | None = None
    """Texture all over, rms; left out, the common default."""
    leg: Annotated[tuple[Leg, ...], Field(min_length=1, max_length=200)]
    rules: Rules = Rules()

    @model_validator(mode="after")
    def _names_differ(self) -> CourseFile:
        names = [leg.gate for leg in self.leg if leg.gate is not None]
        twice = {name for name in names if names.count(name) > 1}
        if twice:
            raise ValueError(f"two gates are called {min(twice)}")
        return self


def load_course(path: Path) -> CourseFile:
    """Read and check a course file; raise TerrainError naming the field."""
    try:
        if path.stat().st_size > MAX_COURSE_BYTES:
            raise TerrainError("too large for a course file", file=path)
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise TerrainError(f"cannot be read ({error.strerror})", file=path, remedy="check the path") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise TerrainError(f"not TOML: {error}", file=path) from None
    try:
        return CourseFile.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = [str(part) for part in first["loc"]]
        if len(where) > 1 and where[0] == "leg":
            where[:2] = [f"leg {int(where[1]) + 1}"]
        message = first["msg"].removeprefix("Value error, ")
        value = first["input"] if isinstance(first["input"], int | float | str) else None
        raise TerrainError(message, file=path, field=".".join(where) or "course", value=value) from None
