"""What ``compare`` says beyond single cells: comparisons read together, ranking, tip angles, cautions, charts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.console import note, show_table

if TYPE_CHECKING:
    from sim.compare.comparison import Comparison
    from sim.decision.caution import Caution
    from sim.decision.configurations import Member
    from sim.decision.stored_trials import Shots
    from sim.trial.tilt_table import Tilted

SIDES = (("left", 90.0), ("right", 270.0), ("back", 180.0), ("front", 0.0))
"""Side that is low, and its direction on the tilt table."""
MOST_TILTED = 16


def as_data(comparison: Comparison, shots: Shots) -> dict[str, Any]:
    """Holm-adjusted comparisons and places of the configurations, with their sentences under ``together``."""
    from sim.compare import holm
    from sim.statistics import ranking

    success = shots.success()
    ranked = ranking.ranking(success) if len(success) > 1 and all(success.values()) else ()
    texts = [holm.sentence(comparison.verdicts), ranking.sentence(ranked)]
    return {
        "together": [text for text in texts if text],
        "holm": [{"configuration": c.name, "obstacle": c.place, "driver": c.driver, "p": c.verdict.p,
                  "adjusted_p": c.verdict.adjusted_p} for c in comparison.cells if c.verdict is not None],
        "ranking": [{"configuration": p.name, "mean_success_percent": 100 * p.mean, "best_place": p.best,
                     "worst_place": p.worst, "first_percent": 100 * p.first} for p in ranked],
    }


def tilt(members: Sequence[Member], count: int, file: Path) -> dict[str, Tilted]:
    """Tip the trucks (by hash) on the simulated table: of many, the baseline and the most unlike by the handbook."""
    from sim.chart.tip_polar import strong
    from sim.decision.tilt_file import SECONDS_EACH, tilted_trucks

    if not members or not count:
        return {}
    shown = strong([(one.name, one.series, one.sheet) for one in members], MOST_TILTED)
    trucks = {one.config: one.sheet for one in members if one.name in shown}

    def watch(missing: int) -> None:
        seconds = missing * count * SECONDS_EACH
        if seconds > 4.0:
            note(f"Tilting {missing} trucks in {count} directions, about {seconds:.0f} s (--tilt 0 leaves it out)…")

    return tilted_trucks(trucks, count, file, watch)


def tips_as_data(members: Sequence[Member], tilted: Mapping[str, Tilted]) -> list[dict[str, Any]]:
    """Handbook and simulated tip angles of every truck."""
    rows = []
    for one in members:
        seen = tilted.get(one.config)
        rows.append({"configuration": one.name, "static_deg": vars(one.tips), "simulated": None if seen is None else
                     {"direction_deg": seen.direction, "tip_deg": seen.angle}})
    return rows


def show_tips(members: Sequence[Member], tilted: Mapping[str, Tilted]) -> None:
    """Print the tip angles to the four sides."""
    if not members:
        return
    rows = []
    for one in members:
        seen = tilted.get(one.config)
        rows.append((one.name, *(f"{getattr(one.tips, side):.1f}" + (f" ({seen.at(low):.1f})" if seen else "")
                                 for side, low in SIDES)))
    show_table("Tip angle, degrees: by the handbook, rigid" + (" (simulated on a tilt table)" if tilted else ""),
               ("configuration", "left", "right", "back, on a climb", "front, on a descent"), rows)


def cautions(members: Sequence[Member], comparison: Comparison, shots: Shots) -> list[tuple[str, list[Caution]]]:
    """What to mind of every truck, each thing once."""
    from sim.decision.configurations import warned

    return warned(members, comparison, shots.exertion())


def charts(
    comparison: Comparison, shots: Shots, members: Sequence[Member], tilted: Mapping[str, Tilted], folder: Path,
    stem: str, formats: list[str],
) -> list[Path]:
    """Margins of every trial, tip angles round the trucks, and a curve for every obstacle driven at several levels."""
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.difficulty import difficulty
    from sim.chart.margin_spread import margin_spread
    from sim.chart.tip_polar import tip_polar

    files = style.save(margin_spread(comparison, shots.margins()), folder / f"{stem}-spread", formats)
    if members:
        seen = {one.name: tilted[one.config] for one in members if one.config in tilted}
        polar = tip_polar([(one.name, one.series, one.sheet) for one in members], 7.2, seen)
        files += style.save(polar, folder / f"{stem}-tip", formats)
    names = list(dict.fromkeys([comparison.baseline.name, *(cell.name for cell in comparison.cells)]))
    for obstacle, driver in dict.fromkeys((cell.obstacle, cell.driver) for cell in comparison.cells):
        cells = [cell for cell in comparison.cells if (cell.obstacle, cell.driver) == (obstacle, driver)]
        if len({cell.level for cell in cells}) > 1:
            word = "".join(c if c.isalnum() else "-" for c in f"{obstacle}-{driver}")[:80]
            files += style.save(difficulty(cells, names), folder / f"{stem}-{word}", formats)
    return files
