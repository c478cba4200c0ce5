"""Success over two of the things that may change, everything else held fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimError
from sim.explore.dimension import Dimension
from sim.explore.search import SetupSearch
from sim.explore.workshop import Genes, Setup

Array = NDArray[np.float64]
MOST = 9
"""Choices of a dimension that a map shows at most."""


@dataclass(frozen=True)
class SuccessMap:
    """A grid of set-ups."""

    across: Dimension
    up: Dimension
    x: tuple[int, ...]
    """Choices of ``across`` that are shown."""
    y: tuple[int, ...]
    chance: Array
    """(x, y, aims), NaN where the set-up cannot be built."""
    why_not: tuple[tuple[str, ...], ...]
    """By x and y, empty where it can."""
    around: str
    """The rest of the set-up in words."""
    here: Genes
    n: int

    @property
    def best(self) -> tuple[int, int]:
        """Place in ``x`` and ``y`` of the highest mean over the aims."""
        mean = self.chance.mean(axis=2)
        i, j = np.unravel_index(int(np.nanargmax(mean)), mean.shape)
        return int(i), int(j)


def success_map(
    found: SetupSearch, names: tuple[str, str], around: Genes, repeats: int, most: int = MOST
) -> SuccessMap:
    """Drive the grid. Set-ups and trials that are known already are not driven again.

    :param found: The search.
    :param names: Of the two dimensions.
    :param around: Set-up that gives everything else.
    :param repeats: Of every set-up.
    :raises SimError: No such dimension.
    """
    a, b = (place(found, name) for name in names)
    if a == b:
        raise SimError("a map needs two different things", field="map", value=names[0], remedy="Name another")
    x, y = (_shown(found.workshop.dimensions[k], around[k], most) for k in (a, b))
    grid: dict[tuple[int, int], Setup | str] = {}
    for i, p in enumerate(x):
        for j, q in enumerate(y):
            genes = list(around)
            genes[a], genes[b] = p, q
            grid[i, j] = found.workshop.build(tuple(genes))
    found.scores.find((one, range(repeats)) for one in grid.values() if isinstance(one, Setup))
    chance = np.full((len(x), len(y), len(found.scores.ground.aims)), np.nan)
    for (i, j), one in grid.items():
        if isinstance(one, Setup) and len(sample := found.scores.of(one, range(repeats))):
            chance[i, j] = sample.mean(axis=0)
    if not np.isfinite(chance).any():
        raise SimError("no set-up of this map can be built", field="map", value=", ".join(names),
                       remedy=next(str(one) for one in grid.values()))
    why = tuple(tuple(str(one) if isinstance(one := grid[i, j], str) else "" for j in range(len(y)))
                for i in range(len(x)))
    rest = tuple(now if k in (a, b) else g for k, (g, now) in enumerate(zip(around, found.workshop.now, strict=True)))
    dims = found.workshop.dimensions
    return SuccessMap(dims[a], dims[b], x, y, chance, why, found.workshop.label(rest), around, repeats)


def place(found: SetupSearch, name: str) -> int:
    """Number of the dimension of that name; a unique beginning will do.

    :raises SimError: There is none, or several.
    """
    names = [dimension.name for dimension in found.workshop.dimensions]
    exact = [k for k, one in enumerate(names) if one == name]
    near = exact or [k for k, one in enumerate(names) if one.startswith(name)]
    if len(near) != 1:
        raise SimError("not one of the things that may change", field="map", value=name,
                       remedy=f"Choose from: {', '.join(names)}")
    return near[0]


def _shown(dimension: Dimension, here: int, most: int) -> tuple[int, ...]:
    count = len(dimension.options)
    spread = np.unique(np.round(np.linspace(0, count - 1, min(most, count))).astype(int))
    return tuple(sorted({*spread.tolist(), here}))
