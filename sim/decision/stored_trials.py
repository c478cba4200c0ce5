"""Single trials of a store, as ranking and spreads need them."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from sim.compare.comparison import CellResult, Comparison
from sim.decision.caution import Exertion
from sim.store.store import Store

Array = NDArray[np.float64]
_COLUMNS = ("obstacle", "level", "driver", "config", "study_seed", "repeat", "draw", "outcome", "min_margin_deg",
            "peak_current_a", "servo_saturation")


class Shots:
    """Outcome and margin of every valid trial of the versions that a comparison shows."""

    def __init__(self, store: Store, comparison: Comparison) -> None:
        """Read them once."""
        self.comparison = comparison
        self._found: dict[tuple[str, float, str, str], dict[tuple[int, int, str], tuple[bool, float]]] = (
            defaultdict(dict)
        )
        self._effort: dict[str, list[tuple[float, float]]] = defaultdict(list)
        for row in store.of(comparison.versions, _COLUMNS):
            obstacle, level, driver, config, seed, repeat, luck, outcome, margin, current, servo = row
            if outcome != "invalid":
                self._found[obstacle, level, driver, config][seed, repeat, luck] = (outcome == "cleared", margin)
                self._effort[config].append((current, servo))

    def margins(self) -> list[tuple[CellResult, Array]]:
        """(n,) smallest margins, deg, of every cell."""
        return [(cell, np.array([m for _, m in self._of(cell).values()])) for cell in self.comparison.cells]

    def exertion(self) -> dict[str, Exertion]:
        """Per configuration (hash), how hard its motor and servo worked."""
        made = {config: np.array(rows) for config, rows in self._effort.items()}
        return {config: Exertion(rows[:, 0], rows[:, 1]) for config, rows in made.items()}

    def success(self) -> dict[str, list[Array]]:
        """Per configuration and obstacle, (n,) ones and zeros in repeats that every configuration drove.

        Obstacles that some configuration never met are left out.
        """
        names = list(dict.fromkeys(cell.name for cell in self.comparison.cells))
        found: dict[str, list[Array]] = {name: [] for name in names}
        places = dict.fromkeys((cell.obstacle, cell.level, cell.driver) for cell in self.comparison.cells)
        for where in places:
            here = [cell for cell in self.comparison.cells if (cell.obstacle, cell.level, cell.driver) == where]
            if len(here) < len(names):
                continue
            common = sorted(set.intersection(*(set(self._of(cell)) for cell in here)))
            for cell in here if common else ():
                found[cell.name].append(np.array([float(self._of(cell)[pair][0]) for pair in common]))
        return found

    def _of(self, cell: CellResult) -> dict[tuple[int, int, str], tuple[bool, float]]:
        return self._found[cell.obstacle, cell.level, cell.driver, cell.config]
