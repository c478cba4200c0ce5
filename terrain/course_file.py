"""A course as written in its file: legs in order, gates among them, and the rules it is scored by."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from terrain.errors import TerrainError
from terrain.regular_file import read_regular

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
    """Read and check a course file; raise TerrainError with every fault of it, in the order of the file."""
    try:
        data = tomllib.loads(read_regular(path, MAX_COURSE_BYTES, "course").decode("utf-8-sig"))
    except TerrainError:
        raise
    except RecursionError:
        raise TerrainError("nested too deeply", file=path, remedy="a course needs two levels") from None
    except ValueError as error:  # not TOML, not UTF-8, or a number of more digits than Python reads
        raise TerrainError(f"not TOML: {str(error)[:200]}", file=path, remedy="correct that line") from None
    try:
        return CourseFile.model_validate(data)
    except ValidationError as error:
        faults = sorted(error.errors(include_url=False), key=lambda fault: _order(fault["loc"], data))
        told = [_told(fault) for fault in faults[:MOST_FAULTS]]
        first, *others = told
        more = "".join(f"\n  {text}" for text in (str(TerrainError(w, field=f, value=v, remedy=r))
                                                  for w, f, v, r in others))  # fmt: skip
        more += f"\n  and {len(faults) - MOST_FAULTS} more" if len(faults) > MOST_FAULTS else ""
        what, field, value, remedy = first
        raise TerrainError(what, file=path, field=field, value=value, remedy=remedy + more) from None


MOST_FAULTS = 50


def _order(place: Sequence[int | str], data: Any) -> tuple[int, ...]:
    """Where a fault stands in the file: the place of each step among its neighbours; what is missing comes last."""
    order = []
    for step in place:
        if isinstance(step, int):
            order.append(step)
            data = data[step] if isinstance(data, list) and step < len(data) else None
        else:
            keys = list(data) if isinstance(data, dict) else []
            order.append(keys.index(step) if step in keys else len(keys))
            data = data.get(step) if isinstance(data, dict) else None
    return tuple(order)


def _told(fault: ErrorDetails) -> tuple[str, str, object, str]:
    """What is wrong, where, with which value, and what to do: in words for whoever wrote the file."""
    where = [str(part) for part in fault["loc"]]
    if len(where) > 1 and where[0] == "leg":
        where[:2] = [f"leg {int(where[1]) + 1}"]
    kind, context = fault["type"], fault.get("ctx", {})
    value = fault["input"] if isinstance(fault["input"], int | float | str) else None
    limit = next(iter(context.values()), "")
    words, remedy = {
        "missing": ("is missing", "add it"),
        "extra_forbidden": ("no such key", "correct its name or leave it out"),
        "float_type": ("must be a number", "write it without quotes"),
        "float_parsing": ("must be a number", "write it without quotes"),
        "finite_number": ("must be a finite number", "write plain digits"),
        "int_parsing": ("must be a whole number", "write it without quotes"),
        "int_type": ("must be a whole number", "write it without quotes"),
        "bool_parsing": ("must be true or false", "write it without quotes"),
        "string_type": ("must be text", "put it in double quotes"),
        "string_too_short": ("must not be empty", "write a name"),
        "string_too_long": ("is too long a text", "shorten it"),
        "greater_than": (f"must be more than {limit}", "check the number and its unit"),
        "greater_than_equal": (f"must be at least {limit}", "check the number and its unit"),
        "less_than": (f"must be less than {limit}", "check the number and its unit"),
        "less_than_equal": (f"must be at most {limit}", "check the number and its unit"),
        "too_short": ("needs at least one entry", "add a [[leg]]"),
        "too_long": ("has too many entries", "make two courses of it"),
        "tuple_type": ("must be a list of tables", "begin each with [[leg]]"),
        "model_type": ("must be a table", "begin it with its name in square brackets"),
    }.get(kind, (fault["msg"].removeprefix("Value error, "), "correct that entry"))
    return words, ".".join(where) or "course", value, remedy
