"""What a builder drives: kinds of obstacle with weights, each up to its limit or at a stated level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimError
from sim.trial import ground_cache
from sim.trial.ground_cache import Yard
from terrain import catalog, file_name
from terrain.yardstick import Yardstick

USUAL = ("climb", "ledge-on-slope", "side-hill", "descent")
"""The mix when none is given: as much weight on each (assumed)."""
STEP_DEG = 0.25
STEP_MM_PER_RADIUS = 1.0 / 27.0
"""Step between levels in tyre radii: a millimetre on a 54 mm tyre."""
MARGIN = 0.5
"""The range of levels over which a chance is averaged reaches this share of the family's usual span beyond its ends."""


@dataclass(frozen=True)
class Line:
    """One kind of obstacle in the mix."""

    obstacle: str
    """Family and parameters without the level."""
    weight: float
    level: float | None
    """To be cleared or not; None to look for the limit."""
    unit: str
    step: float
    """Between levels that are tried."""
    low: float
    high: float
    start: float
    """Where to begin to look."""
    span: tuple[float, float]
    """Range of levels over which the chance to clear is averaged."""

    def points(self, limit: NDArray[np.float64]) -> NDArray[np.float64]:
        """Chance to clear a level drawn evenly from the range, in percent, for limits (any shape).

        With luck held fast a truck clears what lies below its limit; the mean over repeats of this is the area under
        the success curve, and a difference of two means the area between two curves.
        """
        if self.level is not None:
            return 100.0 * limit
        low, high = self.span
        return 100.0 * (np.clip(limit, low, high) - low) / (high - low)

    @property
    def range_text(self) -> str:
        """The range as a person would say it."""
        if self.level is not None:
            return self.name
        return f"{self.name} {self.span[0]:.3g} to {self.span[1]:.3g}{'°' if self.unit == 'deg' else f' {self.unit}'}"

    @property
    def name(self) -> str:
        """As a person would say it."""
        words, _, rest = file_name.without_folder(self.obstacle).partition(",")
        said = words.replace("-", " ") + (f" ({rest.replace('_', ' ')})" if rest else "")
        return said if self.level is None else f"{said} {self.level:g} {self.unit}"


def lines(wanted: Sequence[str], course: Sequence[str], yard: Yard) -> tuple[Line, ...]:
    """Make the mix from what was asked for.

    :param wanted: ``family[,parameter=value...]=weight`` or without the weight; empty for the usual mix.
    :param course: ``family:level``, each to be cleared or not; then there are no limits to look for.
    :param yard: Truck size that the ground is made for.
    :raises SimError, TerrainError: Not an obstacle, a weight that is none, or both ways at once.
    """
    if wanted and course:
        raise SimError("give either lines or a course", field="line", remedy="Leave out one of --line and --course")
    if course:
        made = [_stated(text, yard) for text in course]
    else:
        made = [_limit(*_weighted(text), yard) for text in (wanted or USUAL)]
    twice = next((a for i, a in enumerate(made) if (a.obstacle, a.level) in {(b.obstacle, b.level) for b in made[:i]}),
                 None)
    if twice is not None:
        raise SimError("the same obstacle twice", field="line", value=twice.name,
                       remedy="Give it once, with its weight")
    return tuple(made)


def _weighted(text: str) -> tuple[str, float]:
    """Split off the weight: the last ``=number`` that belongs to no parameter."""
    head, equals, tail = text.rpartition("=")
    if not equals or (_is_number(tail) and "," in head and head.rsplit(",", 1)[1].count("=") == 0):
        return text, 1.0
    try:
        weight = float(tail)
    except ValueError:
        raise SimError("the weight is not a number", field="line", value=text, remedy="Write climb=2") from None
    if not (math.isfinite(weight) and weight > 0):
        raise SimError("a weight must be above zero", field="line", value=text, remedy="Leave the obstacle out instead")
    return head, weight


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _limit(text: str, weight: float, yard: Yard) -> Line:
    name, _, rest = text.partition(",")
    if ":" in name:
        raise SimError("a line has no level: its limit is looked for", field="line", value=text,
                       remedy="Use --course for obstacles at a stated level")
    family = catalog.family_named(name)
    size = Yardstick(1e-3 * yard.wheelbase_mm, 1e-3 * yard.tyre_radius_mm, yard.scale)
    usual, ends = family.levels(size), family.limit(size)
    start = usual[len(usual) // 2]
    obstacle, _ = ground_cache.split(f"{name}:{start!r}" + (f",{rest}" if rest else ""))
    step = _step(family.unit, usual, yard)
    first, last = math.ceil(ends[0] / step), math.floor(ends[-1] / step)
    reach = MARGIN * (usual[-1] - usual[0])
    span = max(usual[0] - reach, ends[0]), min(usual[-1] + reach, ends[-1])
    return Line(obstacle, weight, None, family.unit, step, first * step, last * step, step * round(start / step), span)


def _step(unit: str, usual: Sequence[float], yard: Yard) -> float:
    if unit == "deg":
        return STEP_DEG
    step = yard.tyre_radius_mm * STEP_MM_PER_RADIUS if unit == "mm" else (usual[-1] - usual[0]) / 30.0
    digits = 10.0 ** math.floor(math.log10(step))
    return float(f"{round(step / digits * 2.0) / 2.0 * digits:.6g}")


def _stated(text: str, yard: Yard) -> Line:
    obstacle, level = ground_cache.split(text)
    ground_cache.check(obstacle, level, yard.text())
    return Line(obstacle, 1.0, level, ground_cache.unit(obstacle), 1.0, level, level, level, (level, level))
