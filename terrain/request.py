"""What a person asks for: a family, a level and parameters, read from text and checked."""

from __future__ import annotations

import difflib
import math
from typing import NamedTuple

import numpy as np

from terrain.errors import TerrainError
from terrain.families.registry import FAMILIES
from terrain.family import Family, within
from terrain.piece import Piece
from terrain.yardstick import Yardstick

LONGEST_TEXT = 2000
ROUGHNESS = "roughness_mm"
IMPORTABLE = (".stl", ".obj", ".ply", ".glb", ".gltf", ".off", ".png", ".tif", ".tiff", ".asc", ".npy", ".csv")


class Request(NamedTuple):
    """A parsed obstacle text."""

    family: str
    level: float
    detail: dict[str, float]
    """Parameters given, by full name, in bench units; may hold ``roughness_mm``."""


class Words(NamedTuple):
    """The parts of an obstacle text, not yet checked."""

    name: str
    level: str | None
    extras: tuple[str, ...]


def words(text: str) -> Words:
    """Split ``name:level,extra,...``; raise TerrainError when the text is absurdly long."""
    if len(text) > LONGEST_TEXT:
        raise TerrainError("too long for an obstacle", value=text, remedy="write it as ledge:30")
    head, *extras = text.strip().split(",")
    name, colon, level = head.rpartition(":")
    return Words(name.strip(), level, tuple(extras)) if colon else Words(head.strip(), None, tuple(extras))


def family_named(name: str) -> Family:
    """Return a family; raise TerrainError with the nearest names if there is none."""
    if name in FAMILIES:
        return FAMILIES[name]
    if name.lower().endswith(IMPORTABLE):
        raise TerrainError("not ground yet", value=name, remedy=f"first: cragbench terrain import {name}")
    near = difflib.get_close_matches(name, FAMILIES, n=3)
    remedy = f"did you mean {' or '.join(near)}?" if near else f"families: {', '.join(FAMILIES)}"
    raise TerrainError("no such obstacle family", value=name, remedy=remedy)


def checked(text: str, parts: Words, family: Family) -> Request:
    """Read level and parameters against the family; raise TerrainError for anything that does not fit."""
    if parts.level is None:
        raise TerrainError("the level is missing", value=text,
                           remedy=f"write {family.name}:VALUE with VALUE in {family.unit}")
    detail: dict[str, float] = {}
    for extra in parts.extras:
        key, equals, value = extra.partition("=")
        if not equals:
            raise TerrainError("not a parameter", field=family.name, value=extra, remedy="write name=value")
        key = key.strip()
        full = ROUGHNESS if key in (ROUGHNESS, "roughness") else family.parameter(key).name
        if full in detail:
            raise TerrainError("given twice", field=family.name, value=key, remedy="give it once")
        detail[full] = _number(f"{family.name}: {full}", value)
    return Request(family.name, _number(family.name, parts.level), detail)


def _number(field: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TerrainError("not a number", field=field, value=text.strip(), remedy="write it like 30 or 12.5")
    return value


def parameter_values(family: Family, detail: dict[str, float]) -> dict[str, float]:
    """All parameters of a family, given ones over defaults; raise TerrainError for an unknown or bad one."""
    values = {p.name: p.default for p in family.parameters}
    for key, value in detail.items():
        parameter = family.parameter(key)
        values[parameter.name] = parameter.check(family.name, value)
    return values


def piece(family: Family, level: float, yard: Yardstick, rng: np.random.Generator, values: dict[str, float]) -> Piece:
    """Build a family's ground at a level; raise TerrainError when the level is out of range."""
    low, high = family.limit(yard)
    within(f"{family.name} ({family.unit})", level, low, high)
    return family.build(float(level), yard, rng, **values)
