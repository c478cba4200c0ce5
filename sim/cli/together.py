"""What ``compare`` says beyond single cells: all comparisons read together, the ranking, and further charts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.comparison import Comparison
    from sim.decision.shots import Shots


def as_data(comparison: Comparison, shots: Shots) -> dict[str, Any]:
    """Holm-adjusted comparisons and places of the configurations, with their sentences under ``together``."""
    from sim.decision import many, ranking

    adjusted = many.adjusted(comparison)
    success = shots.success()
    ranked = ranking.ranking(success) if len(success) > 1 and all(success.values()) else ()
    texts = [many.sentence(adjusted), ranking.sentence(ranked)]
    return {
        "together": [text for text in texts if text],
        "holm": [{"configuration": one.cell.name, "obstacle": one.cell.place, "driver": one.cell.driver, "p": one.p,
                  "adjusted_p": one.adjusted} for one in adjusted],
        "ranking": [{"configuration": p.name, "mean_success_percent": 100 * p.mean, "best_place": p.best,
                     "worst_place": p.worst, "first_percent": 100 * p.first} for p in ranked],
    }


def charts(comparison: Comparison, shots: Shots, folder: Path, stem: str, formats: list[str]) -> list[Path]:
    """Margins of every trial, and a curve for every obstacle that was driven at several levels."""
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.difficulty import difficulty
    from sim.chart.margin_spread import margin_spread

    files = style.save(margin_spread(comparison, shots.margins()), folder / f"{stem}-spread", formats)
    names = list(dict.fromkeys([comparison.baseline.name, *(cell.name for cell in comparison.cells)]))
    for obstacle, driver in dict.fromkeys((cell.obstacle, cell.driver) for cell in comparison.cells):
        cells = [cell for cell in comparison.cells if (cell.obstacle, cell.driver) == (obstacle, driver)]
        if len({cell.level for cell in cells}) > 1:
            word = "".join(c if c.isalnum() else "-" for c in f"{obstacle}-{driver}")[:80]
            files += style.save(difficulty(cells, names), folder / f"{stem}-{word}", formats)
    return files
