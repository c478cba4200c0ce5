"""Obstacles by name and level: the door that everything else uses.

An obstacle is written ``family:level`` with further numbers after commas: ``ledge:30``, ``side-hill:35``,
``ledge-on-slope:30,slope=15``, ``climb:45,roughness_mm=0``. Levels and parameters are in bench units.
"""

from __future__ import annotations

import difflib
import math
from typing import NamedTuple

import numpy as np

from terrain import noise
from terrain.errors import TerrainError
from terrain.families.registry import FAMILIES
from terrain.family import Family, within
from terrain.layout import lay_out
from terrain.obstacle import Obstacle
from terrain.yardstick import Yardstick

LONGEST_TEXT = 300
ROUGHNESS = "roughness_mm"


class Request(NamedTuple):
    """A parsed obstacle text."""

    family: str
    level: float
    detail: dict[str, float]
    """Parameters given, by full name, in bench units; may hold ``roughness_mm``."""


def family_named(name: str) -> Family:
    """Return a family; raise TerrainError with the nearest names if there is none."""
    if name in FAMILIES:
        return FAMILIES[name]
    near = difflib.get_close_matches(name, FAMILIES, n=3)
    remedy = f"did you mean {' or '.join(near)}?" if near else f"families: {', '.join(FAMILIES)}"
    raise TerrainError("no such obstacle family", value=name, remedy=remedy)


def parse(text: str) -> Request:
    """Read ``family:level[,parameter=value]...``; raise TerrainError for anything else."""
    if len(text) > LONGEST_TEXT:
        raise TerrainError("too long for an obstacle", value=text, remedy="write it as ledge:30")
    head, *extras = text.strip().split(",")
    name, colon, level = head.partition(":")
    family = family_named(name.strip())
    if not colon:
        raise TerrainError(
            "the level is missing", value=text, remedy=f"write {family.name}:VALUE with VALUE in {family.unit}"
        )
    detail: dict[str, float] = {}
    for extra in extras:
        key, equals, value = extra.partition("=")
        if not equals:
            raise TerrainError("not a parameter", field=family.name, value=extra, remedy="write name=value")
        key = key.strip()
        full = ROUGHNESS if key in (ROUGHNESS, "roughness") else family.parameter(key).name
        if full in detail:
            raise TerrainError("given twice", field=family.name, value=key, remedy="give it once")
        detail[full] = _number(f"{family.name}: {full}", value)
    return Request(family.name, _number(family.name, level), detail)


def _number(field: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TerrainError("not a number", field=field, value=text.strip(), remedy="write it like 30 or 12.5")
    return value


def make(
    family: str,
    level: float,
    *,
    wheelbase: float,
    tyre_radius: float,
    seed: int,
    roughness: float | None = None,
    scale: float | None = None,
    **detail: float,
) -> Obstacle:
    """Build an obstacle of a family at a level.

    Parameters
    ----------
    family, level
        Name and difficulty in the family's own unit.
    wheelbase, tyre_radius
        Of the truck it is sized by, m. Builds to be compared must share them, or they meet different ground.
    seed
        Decides every random thing; not negative.
    roughness
        rms of the surface texture, m; None takes the family's default, 0 makes it smooth.
    scale
        24 for 1/24; for test terrains with full-size dimensions. None judges it from the wheelbase.
    detail
        The family's parameters in bench units (``slope_deg=15``), and ``roughness_mm`` instead of ``roughness``.

    Raises
    ------
    TerrainError
        For an unknown family or parameter, or a value out of range.
    """
    kind = family_named(family)
    yard = Yardstick(wheelbase, tyre_radius, 0.0 if scale is None else scale)
    low, high = kind.limit(yard)
    within(f"{kind.name} ({kind.unit})", level, low, high)
    if seed < 0:
        raise TerrainError("a seed is a whole number from 0", field="seed", value=seed)
    rms = _rms(kind, yard, roughness, detail)
    values = {p.name: p.default for p in kind.parameters}
    for key, value in detail.items():
        parameter = kind.parameter(key)
        values[parameter.name] = parameter.check(kind.name, value)
    shape_rng, texture_rng = np.random.default_rng(seed).spawn(2)
    piece = kind.build(float(level), yard, shape_rng, **values)
    record = values | {
        "seed": seed,
        ROUGHNESS: rms * 1000.0,
        "wheelbase_mm": wheelbase * 1000.0,
        "tyre_radius_mm": tyre_radius * 1000.0,
        "scale": yard.scale,
    }
    return lay_out(
        piece, yard, texture_rng, family=kind.name, level=float(level), unit=kind.unit, rms=rms, detail=record
    )


def _rms(kind: Family, yard: Yardstick, roughness: float | None, detail: dict[str, float]) -> float:
    """Roughness in m from whichever way it was given; takes ``roughness_mm`` out of ``detail``."""
    in_mm = detail.pop(ROUGHNESS, None)
    if in_mm is not None and roughness is not None:
        raise TerrainError("given twice", field=ROUGHNESS, value=in_mm, remedy="give roughness one way")
    share = noise.DEFAULT_SHARE if kind.roughness_share is None else kind.roughness_share
    rms = in_mm / 1000.0 if in_mm is not None else share * yard.tyre_radius if roughness is None else roughness
    return within(ROUGHNESS, 1000.0 * rms, 0.0, 1000.0 * yard.tyre_radius) / 1000.0


def from_text(
    text: str,
    *,
    wheelbase: float,
    tyre_radius: float,
    seed: int,
    scale: float | None = None,
) -> Obstacle:
    """Parse and make in one step; arguments and errors as for :func:`parse` and :func:`make`."""
    request = parse(text)
    return make(
        request.family,
        request.level,
        wheelbase=wheelbase,
        tyre_radius=tyre_radius,
        seed=seed,
        scale=scale,
        **request.detail,
    )
