"""What ``compare`` says beyond single cells: comparisons read together, ranking, tip angles, cautions, charts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.console import note, say, show_table

if TYPE_CHECKING:
    from sim.report.reading import Reading

SIDES = (("left", 90.0), ("right", 270.0), ("back", 180.0), ("front", 0.0))
"""Side that is low, and its direction on the tilt table."""


def as_data(reading: Reading) -> dict[str, Any]:
    """Holm-adjusted comparisons and places of the configurations, with their sentences under ``together``."""
    return {
        "together": list(reading.together),
        "holm": [{"configuration": c.name, "obstacle": c.place, "driver": c.driver, "p": c.verdict.p,
                  "adjusted_p": c.verdict.adjusted_p} for c in reading.comparison.cells if c.verdict is not None],
        "ranking": [{"configuration": p.name, "mean_success_percent": 100 * p.mean, "best_place": p.best,
                     "worst_place": p.worst, "first_percent": 100 * p.first} for p in reading.ranked],
    }


def announce(directions: int) -> Callable[[int], None]:
    """Say beforehand how long tilting some trucks takes, if it takes long."""
    from sim.decision.tilt_file import SECONDS_EACH

    def watch(missing: int) -> None:
        seconds = missing * directions * SECONDS_EACH
        if seconds > 4.0:
            note(f"Tilting {missing} trucks in {directions} directions, about {seconds:.0f} s (--tilt 0 leaves it "
                 "out)…")

    return watch


def tips_as_data(reading: Reading) -> list[dict[str, Any]]:
    """Handbook and simulated tip angles of every truck."""
    from sim.decision import tilt_file
    from sim.trial.tilt_table import SHAFTS

    rows = []
    for one in reading.members:
        seen = reading.tilted.get(one.config)
        rows.append({"configuration": one.name, "static_deg": vars(one.tips),
                     "stability_distance_mm": 1e3 * one.footing.distance,
                     "stability_rise_mm": 1e3 * one.footing.rise,
                     "simulated": None if seen is None else tilt_file.as_data(seen) | {"shafts": SHAFTS}})
    return rows


def show_tips(reading: Reading) -> None:
    """Print the tip angles to the four sides."""
    if not reading.members:
        return
    rows = []
    for one in reading.members:
        seen = reading.tilted.get(one.config)
        rows.append((one.name, *(f"{getattr(one.tips, side):.1f}" + (f" ({seen.at(low):.1f})" if seen else "")
                                 for side, low in SIDES),
                     f"{1e3 * one.footing.distance:.1f} / {1e3 * one.footing.rise:.1f}"))
    show_table("Tip angle, degrees: by the handbook, rigid" +
               (" (simulated on a tilt table)" if reading.tilted else ""),
               ("configuration", "left", "right", "on a climb", "on a descent", "nearest edge / rise, mm"), rows)
    if reading.tilted:
        from sim.trial.tilt_table import how

        say(f"Simulated: {how(reading.tilted.values())}.")


def charts(reading: Reading, folder: Path, stem: str, formats: list[str]) -> list[Path]:
    """Margins of every trial, tip angles round the trucks, and a curve for every obstacle driven at several levels."""
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.difficulty import difficulty
    from sim.chart.margin_spread import margin_spread
    from sim.chart.tip_polar import tip_polar

    comparison, tilted = reading.comparison, reading.tilted
    files = style.save(margin_spread(comparison, reading.shots.margins()), folder / f"{stem}-spread", formats)
    if reading.members:
        seen = {one.name: tilted[one.config] for one in reading.members if one.config in tilted}
        polar = tip_polar([(one.name, one.series, one.sheet) for one in reading.members], 7.2, seen)
        files += style.save(polar, folder / f"{stem}-tip", formats)
    for obstacle, driver in dict.fromkeys((cell.obstacle, cell.driver) for cell in comparison.cells):
        cells = [cell for cell in comparison.cells if (cell.obstacle, cell.driver) == (obstacle, driver)]
        if len({cell.level for cell in cells}) > 1:
            word = "".join(c if c.isalnum() else "-" for c in f"{obstacle}-{driver}")[:80]
            files += style.save(difficulty(cells, reading.names), folder / f"{stem}-{word}", formats)
    return files
