"""Tilt-table results kept in a file beside the charts, so that the same trucks are not tilted again."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from models.assemble import rigid_model
from models.spec import Sheet
from sim.batch.version import versions
from sim.compare.export import written
from sim.errors import SimError
from sim.trial.tilt_table import Tilted, round_the_truck, tilted
from terrain.regular_file import read_regular

SCHEMA = 2
MOST_BYTES = 10_000_000
"""360 directions of some 800 trucks."""
SECONDS_EACH = 0.22
"""Of one core, for one direction; corners are tilted twice."""


def tilted_trucks(
    trucks: Mapping[str, Sheet], count: int, file: Path, watch: Callable[[int], None] | None = None
) -> dict[str, Tilted]:
    """Tilt trucks in ``count`` directions round them, but for those that the file knows.

    :param trucks: Build sheets by content hash.
    :param count: Directions, a multiple of 4, so that the four sides are among them.
    :param file: Where results are kept; one that cannot be read, or that another version of the physics wrote, is
        written anew.
    :param watch: Told beforehand how many trucks are to be tilted.
    :raises SimError: Not such a count, or the file cannot be written.
    """
    if count < 4 or count % 4 or count > 360:
        raise SimError("must be a multiple of 4 from 4 to 360, or 0 for none", field="tilt", value=count,
                       remedy="16 is usual")
    known = _read(file)
    directions = round_the_truck(count)
    missing = [h for h in trucks if h not in known or known[h].direction != directions]
    if missing and watch is not None:
        watch(len(missing))
    for config in missing:
        known[config] = tilted(rigid_model(trucks[config]), directions)
    if missing:
        _write(file, known)
    return {config: known[config] for config in trucks}


def _stamp() -> dict[str, Any]:
    found = versions("sim.trial.tilt_table")
    return {"schema": SCHEMA, "code": found.code, "engine": found.engine}


def _read(file: Path) -> dict[str, Tilted]:
    try:
        data = json.loads(read_regular(file, MOST_BYTES))
        if {key: data.get(key) for key in _stamp()} != _stamp():
            return {}
        return {str(config): _tilted(one) for config, one in data["trucks"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return {}


def _tilted(one: Mapping[str, Sequence[float | None]]) -> Tilted:
    direction, corner = ([float(d) for d in one[key] if d is not None] for key in ("direction_deg", "corner_deg"))
    angle, again = ([math.nan if a is None else float(a) for a in one[key]] for key in ("tip_deg", "corner_tip_deg"))
    if len(angle) != len(direction):
        raise ValueError("directions and angles differ in number")
    return Tilted(tuple(direction), tuple(angle), tuple(zip(corner, again, strict=True)))


def _write(file: Path, known: Mapping[str, Tilted]) -> None:
    trucks = {config: as_data(one) for config, one in known.items()}
    with written(file, "Give another folder") as part:
        part.write_text(json.dumps(_stamp() | {"trucks": trucks}, indent=1), encoding="utf-8")


def as_data(one: Tilted) -> dict[str, Any]:
    """One truck's angles as plain data; null where it does not tip."""

    def known(angles: Iterable[float]) -> list[float | None]:
        return [None if math.isnan(a) else a for a in angles]

    return {"direction_deg": list(one.direction), "tip_deg": known(one.angle),
            "corner_deg": [d for d, _ in one.again], "corner_tip_deg": known(a for _, a in one.again)}
