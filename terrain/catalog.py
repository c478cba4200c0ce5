"""Obstacles by name and level: the door that everything else uses.

An obstacle is written ``family:level`` with further numbers after commas: ``ledge:30``, ``side-hill:35``,
``ledge-on-slope:30,slope=15``, ``climb:45,roughness_mm=0``. Levels and parameters are in bench units. Imported
ground and courses are named by their file: ``rock.ground.npz`` or, half as high, ``rock.ground.npz:50``.
"""

from __future__ import annotations

import numpy as np

from terrain import file_name, from_file, noise, request
from terrain.errors import TerrainError
from terrain.family import Family, within
from terrain.layout import lay_out
from terrain.obstacle import Obstacle
from terrain.request import ROUGHNESS, Request
from terrain.yardstick import Yardstick

__all__ = ["ROUGHNESS", "Request", "family_named", "from_text", "make", "parse"]


def family_named(name: str) -> Family:
    """Return a family, or what stands for a file; raise TerrainError with the nearest names if there is none."""
    return from_file.family(name) if file_name.names_file(name) else request.family_named(name)


def parse(text: str) -> Request:
    """Read ``family:level[,parameter=value]...`` or a file's path; raise TerrainError for anything else.

    A file's name comes back with a hash of its content, so that a changed file is another obstacle.
    """
    parts = request.words(text)
    if file_name.names_file(parts.name):
        level = str(from_file.USUAL_LEVEL) if parts.level is None else parts.level
        parts = parts._replace(name=file_name.full_name(parts.name), level=level)
    return request.checked(text, parts, family_named(parts.name))


def make(
    family: str, level: float, *, wheelbase: float, tyre_radius: float, seed: int, roughness: float | None = None,
    scale: float | None = None, **detail: float,
) -> Obstacle:
    """Build an obstacle of a family at a level.

    :param family, level: Name and difficulty in the family's own unit.
    :param wheelbase, tyre_radius: Of the truck it is sized by, m. Builds to be compared must share them, or they meet
        different ground.
    :param seed: Decides every random thing; not negative.
    :param roughness: rms of the surface texture, m; None takes the family's default, 0 makes it smooth.
    :param scale: 24 for 1/24; for test terrains with full-size dimensions. None judges it from the wheelbase.
    :param detail: The family's parameters in bench units (``slope_deg=15``), and ``roughness_mm`` instead of
        ``roughness``.
    :raises TerrainError: An unknown family or parameter, or a value out of range.
    """
    kind = family_named(family)
    yard = Yardstick(wheelbase, tyre_radius, 0.0 if scale is None else scale)
    if seed < 0:
        raise TerrainError("a seed is a whole number from 0", field="seed", value=seed)
    rms = _rms(kind, yard, roughness, detail)
    values = request.parameter_values(kind, detail)
    if file_name.names_file(kind.name):
        return from_file.make(kind.name, float(level), yard, seed, rms)
    shape_rng, texture_rng = np.random.default_rng(seed).spawn(2)
    piece = request.piece(kind, float(level), yard, shape_rng, values)
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


def from_text(text: str, *, wheelbase: float, tyre_radius: float, seed: int, scale: float | None = None) -> Obstacle:
    """Parse and make in one step; arguments and errors as for :func:`parse` and :func:`make`."""
    wanted = parse(text)
    return make(wanted.family, wanted.level, wheelbase=wheelbase, tyre_radius=tyre_radius, seed=seed, scale=scale,
                **wanted.detail)
