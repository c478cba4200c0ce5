"""Limits on finer grids and on ground that lies askew on its grid: the same piece, so the same limit."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel
from sim.trial import driver, trial
from sim.trial.luck import Variation, draw
from sim.trial.perform import conditions
from sim.validation.check import Group, Measured, relative
from sim.validation.truck import truck
from terrain.catalog import family_named
from terrain.heightfield import Heightfield
from terrain.layout import AFTER, LANE_HALF_WIDTH, RUN_IN, grid_over
from terrain.obstacle import Obstacle, Pose
from terrain.yardstick import Yardstick

GROUP = Group("grids", "Limits on other grids and other directions")
Array = NDArray[np.float64]
RANGES = {"ledge": (30.0, 50.0), "ledge-on-slope": (10.0, 42.0), "ledge-down": (40.0, 56.0), "v-notch": (30.0, 62.0)}
"""Levels between which a limit is looked for, in the family's own unit."""
STEEP = {"slope_deg": 40.0}
"""Of the notch: on the usual slope every notch is cleared."""
USUAL_MM = 2.0
FINER_MM = (1.0, 0.5)
ASKEW = 45.0
"""deg; half way to where the grid lies as before."""
ASKEW_MM = {"ledge": 0.25, "ledge-down": 0.25}
"""An eighth of the usual cell, as faces get it that lie askew; longer pieces would have too many nodes: 0.5 mm."""
STRIP, START = 0.8, 0.6
"""Ground to either side of the lane and behind the start, wheelbases: as little as the truck needs."""
OTHERS = ((1.0, 0.0), (0.5, 0.0), (USUAL_MM, 10.0), (USUAL_MM, 30.0), (USUAL_MM, 45.0), (USUAL_MM, 90.0))
"""Other grids (mm) and directions (deg)."""
REPEATS = 4
TRIES = 6
SEED = 5


def laid(family: str, level: float, model: RigidModel, cell: float, degrees: float) -> Obstacle:
    """A piece without roughness on a grid of this spacing (m), lane and all turned about the start by ``degrees``."""
    kind = family_named(family)
    yard = Yardstick(model.wheelbase, float(model.tyres[0].row_radius.max()))
    detail = {one.name: one.default for one in kind.parameters} | (STEEP if family == "v-notch" else {})
    piece = kind.build(level, yard, np.random.default_rng(0), **detail)
    wb, begin = yard.wheelbase, math.ceil(RUN_IN * yard.wheelbase / yard.cell) * yard.cell
    finish = begin + piece.finish
    end = max(finish + AFTER * wb, begin + piece.crux[1])
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    corners = np.array([(x, y) for x in (-START * wb, end) for y in (-STRIP * wb, STRIP * wb)])
    corners = corners @ np.array([[cos, sin], [-sin, cos]])
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    x, y = grid_over((float(x0), float(x1)), (float(y0), float(y1)), cell)
    z = piece.shape(x * cos + y * sin - begin, y * cos - x * sin)
    lane = np.array([(0.0, 0.0), (end - 0.25 * wb, 0.0)]) @ np.array([[cos, sin], [-sin, cos]])
    return Obstacle(
        family, level, kind.unit, Heightfield.of(z, (float(x[0, 0]), float(y[0, 0])), cell),
        Pose(0.0, 0.0, math.radians(degrees)), lane, finish, LANE_HALF_WIDTH * wb,
        (begin + piece.crux[0], begin + piece.crux[1]), piece.descending,
    )  # fmt: skip


def clears(model: RigidModel, obstacle: Obstacle, repeat: int) -> bool:
    """Whether a try with a repeat's luck, the same on every grid and at every level, gets over."""
    luck = draw(Variation(), SEED, obstacle.family, 0.0, repeat)
    found = trial.run(model, obstacle, driver.named("steady"), luck.driver_seed, conditions=conditions(luck))
    return found.outcome == "cleared"


def limits(family: str, cell_mm: float, degrees: float, repeats: int) -> Array:
    """Limit by bisection for each repeat's luck, in the family's unit."""
    model, found = truck("gundi"), []
    for repeat in range(repeats):
        low, high = RANGES[family]
        for _ in range(TRIES):
            middle = 0.5 * (low + high)
            over = clears(model, laid(family, middle, model, 1e-3 * cell_mm, degrees), repeat)
            low, high = (middle, high) if over else (low, middle)
        found.append(0.5 * (low + high))
    return np.array(found)


def _against_usual(family: str, others: tuple[tuple[float, float], ...]) -> Measured:
    usual = float(limits(family, USUAL_MM, 0.0, REPEATS).mean())
    found = [float(limits(family, cell, degrees, REPEATS).mean()) for cell, degrees in others]
    words = ", ".join(f"{cell:g} mm at {degrees:g} deg: {100.0 * (one / usual - 1.0):+.1f} %"
                      for (cell, degrees), one in zip(others, found, strict=True))
    return Measured([usual] * len(found), found, words)


def _add(family: str) -> None:
    """Two checks of a family: on finer grids, and lying askew on the finest."""
    unit, paper = family_named(family).unit, relative(0.02, "a ruler at the rock")
    luck = f"{REPEATS} tries with the luck of each the same everywhere"
    finest = ASKEW_MM.get(family, FINER_MM[-1])

    @GROUP.check(f"{family}, finer grids", f"Limit of the 1/24 on grids of 2, 1 and 0.5 mm; {luck}",
                 source="convergence in the grid", known="derived here", unit=unit, slow=True, tolerance=paper)
    def finer() -> Measured:
        """The face is as wide on all of them."""
        return _against_usual(family, tuple((cell, 0.0) for cell in FINER_MM))

    @GROUP.check(f"{family}, askew", f"The same along the grid (2 mm) and {ASKEW:g} deg askew on {finest:g} mm; {luck}",
                 source="no direction is marked", known="derived here", unit=unit, slow=True, tolerance=paper)
    def askew() -> Measured:
        """On a fine grid: cells round what lies across them."""
        return _against_usual(family, ((finest, ASKEW),))


for _family in RANGES:
    _add(_family)
