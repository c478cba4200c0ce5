"""Everything that a store says, read once: terminal and page both say it from here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sim.chart.rows import names
from sim.chart.tip_polar import strong
from sim.compare import holm
from sim.compare.comparison import CellResult, Comparison, at, compare, places
from sim.compare.limits import Limit, limits
from sim.compare.sentences import sentences, textbook_lines
from sim.decision.caution import Caution
from sim.decision.configurations import Member, lineup, warned
from sim.decision.stored_trials import Shots
from sim.decision.tilt_file import tilted_trucks
from sim.statistics import ranking
from sim.statistics.paired import Verdict
from sim.store.store import Store
from sim.trial.tilt_table import Tilted

MOST_TILTED = 16
"""Trucks that are tipped on the simulated table; of more, those most unlike the baseline."""


@dataclass(frozen=True)
class Reading:
    """A comparison with all that hangs on it."""

    comparison: Comparison
    shots: Shots
    limits: tuple[Limit, ...]
    sentences: tuple[str, ...]
    """On success and limits."""
    together: tuple[str, ...]
    """On all comparisons read together, the ranking, and textbook fits of limits."""
    textbook: tuple[str, ...]
    """Those of them that tell textbook fits."""
    ranked: tuple[ranking.RankedPlace, ...]
    members: tuple[Member, ...]
    tilted: Mapping[str, Tilted]
    """By configuration (hash); empty where no truck was tilted."""
    cautions: tuple[tuple[str, list[Caution]], ...]

    @property
    def names(self) -> list[str]:
        """Configurations in the order of their colours, the baseline first."""
        return names(self.comparison)


def read(
    store: Store, baseline: str | None = None, tilt: int = 0, tilt_file: Path | None = None,
    watch: Callable[[int], None] | None = None,
) -> Reading:
    """Read an open store.

    :param store: With at least one trial.
    :param baseline: Configuration to compare with; left out, the plan's.
    :param tilt: Directions on the simulated tilt table, a multiple of 4; 0 for none.
    :param tilt_file: Where its results are kept; left out, beside the store.
    :param watch: Told beforehand how many trucks are to be tilted.
    :raises SimError: Empty store, no such baseline, or not such a count.
    """
    comparison = compare(store, baseline)
    shots = Shots(store, comparison)
    members = lineup(comparison, store.configurations())
    found = limits(comparison)
    success = shots.success()
    ranked = tuple(ranking.ranking(success)) if len(success) > 1 and all(success.values()) else ()
    told = [text for text in (holm.sentence(comparison.verdicts), ranking.sentence(ranked)) if text]
    fits = textbook_lines(found)
    kept = tilt_file or store.path.absolute().with_name(f"{store.path.stem}-tilt.json")
    return Reading(
        comparison, shots, tuple(found), tuple(sentences(comparison, found)), (*told, *fits), tuple(fits), ranked,
        members, _tilt(members, tilt, kept, watch), tuple(warned(members, comparison, shots.exertion())),
    )


def _tilt(
    members: Sequence[Member], count: int, file: Path, watch: Callable[[int], None] | None
) -> dict[str, Tilted]:
    if not members or not count:
        return {}
    shown = strong([(one.name, one.series, one.sheet) for one in members], MOST_TILTED)
    return tilted_trucks({one.config: one.sheet for one in members if one.name in shown}, count, file, watch)


@dataclass(frozen=True)
class MatrixRow:
    """One configuration on all obstacles."""

    name: str
    series: int
    overall: Verdict | None
    """All obstacles together; None for the baseline."""
    cells: tuple[CellResult | None, ...]


def matrix(comparison: Comparison) -> tuple[list[CellResult], list[MatrixRow]]:
    """One cell of every obstacle for its heading, and a row for each configuration, the largest gain first.

    The baseline stands first of all: the others' numbers are against it.
    """
    wheres = places(comparison.cells)
    order = names(comparison)
    by_place = [{cell.name: cell for cell in at(comparison.cells, where)} for where in wheres]
    configs = {cell.name: cell.config for cell in comparison.cells}
    rows = [MatrixRow(name, n, comparison.overall.get(configs.get(name, "")),
                      tuple(cells.get(name) for cells in by_place)) for n, name in enumerate(order)]
    rows[1:] = sorted(rows[1:], key=lambda row: -(row.overall.difference.value if row.overall else float("-inf")))
    return [next(iter(cells.values())) for cells in by_place], rows
