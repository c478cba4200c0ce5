"""``cragbench reality``: was the prediction right, and what do real tries teach it?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import note, say, show_json, show_table
from sim.cli.options import Json, Workers

if TYPE_CHECKING:
    from sim.reality.observed import Tried
    from sim.reality.verdict import Outlook, Reality
    from sim.store.store import Store

UNFINISHED = 130


def reality(
    store: Annotated[Path, typer.Argument(help="Store with imported attempts.", show_default=False)],
    driver: Annotated[str | None, typer.Option(help="Whose tries, if several people drove.")] = None,
    also: Annotated[list[str] | None, typer.Option(help="Obstacle to predict besides, as climb:48.")] = None,
    style: Annotated[str, typer.Option(help="Simulated driver that the person is compared with.")] = "bump",
    repeats: Annotated[int, typer.Option(min=2, max=1000, help="Simulated trials at each of six grips.")] = 6,
    seed: Annotated[int, typer.Option(min=0, help="Decides the simulated luck.")] = 1, workers: Workers = None,
    chart: Annotated[Path | None, typer.Option(help="Pictures to write: beginning of their names.")] = None,
    as_json: Json = False,
) -> None:
    """Compare real tries with simulated ones; learn grip and skill; check that on lines left out; predict again.

    Missing trials are simulated first and kept: a second run is quick, and Ctrl-C loses nothing.
    """
    from sim.reality.rehearsal import prepare, responses
    from sim.reality.verdict import compare
    from sim.store.store import Store

    if not store.exists():
        Store(store)  # says that there is none, instead of making one
    with Store(store, write=True) as kept:
        cells = _cells(kept, driver, also or [])
        plan = prepare(kept, cells, style, seed, repeats)
        if not _simulate(kept, plan, cells, workers, quiet=as_json):
            raise typer.Exit(UNFINISHED)
        curves = responses(kept, plan, cells)
    found = compare(cells, curves)
    files = [] if chart is None else _draw(found, chart)
    if as_json:
        show_json({**as_data(found), "charts": [str(file) for file in files]})
        return
    _show(found)
    for file in files:
        say(f"Wrote {file}")


def _cells(kept: Store, driver: str | None, also: list[str]) -> list[Tried]:
    from sim.errors import SimError
    from sim.reality.attempt_log import logged
    from sim.reality.observed import Tried, tried
    from sim.trial import ground_cache

    found = tried(logged(kept), driver)
    if not found:
        raise SimError("holds no attempts that count", file=kept.path, remedy="Import a log: cragbench log add")
    trucks = {cell.config: cell for cell in found}
    # What is foretold is taken to lie on the surface that was driven most.
    surface = max({c.surface for c in found}, key=lambda s: sum(c.tries for c in found if c.surface == s))
    for text in also:
        obstacle, level = ground_cache.split(text)
        for config, cell in trucks.items():
            found.append(Tried(f"{text} (not driven)", obstacle, level, surface, config, cell.configuration, 0, 0,
                               cell.simulated))
    return found


def _simulate(kept: Store, plan: Any, cells: list[Tried], workers: int | None, *, quiet: bool) -> bool:
    from sim.cli.batch_cmd import available_cores
    from sim.cli.progress import watcher
    from sim.reality.rehearsal import rehearse

    with watcher(None, quiet=quiet, words="rehearsal") as watch:
        progress = rehearse(kept, plan, cells, workers or available_cores(), watch)
    if progress.ending != "finished":
        note(f"Stopped after {progress.done} trials; they are kept. The same command goes on from there.")
        return False
    return True


def as_data(found: Reality) -> dict[str, Any]:
    """The comparison as plain data."""
    return {
        "enough": found.enough,
        "conclusions": list(found.conclusions),
        "lines": [_outlook(o) for o in found.outlooks],
        "ahead": [_outlook(o) for o in found.ahead],
        "grades": [{"name": g.name, "log_score": g.log_score, **vars(g.brier), "skill": g.brier.skill}
                   for g in found.grades],
        "gap": vars(found.gap),
        "gain_nats_per_try": vars(found.better),
        "families": [{"family": f.name, "lines": f.lines, "tries": f.tries, "predicted": f.predicted, "seen": f.seen,
                      "gap": vars(f.gap)} for f in found.families],
        "calibration": [{"forecast": c.forecast, "cleared": c.seen.successes, "tries": c.seen.trials,
                         "low": c.seen.low, "high": c.seen.high} for c in found.curve],
        "grip_factor": {s: {"mean": math.exp(m.mean), "low": math.exp(m.interval()[0]),
                            "high": math.exp(m.interval()[1]), "learned": m.learned}
                        for s, m in found.posterior.grip.items()},
        "skill_log_odds": {"mean": found.posterior.driver.mean, "low": found.posterior.driver.interval()[0],
                           "high": found.posterior.driver.interval()[1], "learned": found.posterior.driver.learned},
        "grid_faults": found.posterior.faults(),
    }  # fmt: skip


def _outlook(o: Outlook) -> dict[str, Any]:
    t = o.tried
    return {
        "line": t.line, "obstacle": t.where, "surface": t.surface, "configuration": t.configuration,
        "cleared": t.successes, "tries": t.tries, "predicted": o.predicted,
        "learned_from_other_lines": dict(zip(("mean", "low", "high"), o.honest, strict=True)),
        "learned_from_all": dict(zip(("mean", "low", "high"), o.settled, strict=True)), "surprise": o.surprise,
    }  # fmt: skip


def _show(found: Reality) -> None:
    if any(o.tried.simulated for o in found.outlooks):
        say("Simulated attempts of an invented scenario.")
    rows = [
        (o.tried.line, o.tried.where, o.tried.configuration, f"{100 * o.predicted:.0f} %",
         f"{o.tried.successes}/{o.tried.tries}", f"{100 * o.tried.rate.low:.0f}-{100 * o.tried.rate.high:.0f}",
         f"{100 * o.honest[0]:.0f} % ({100 * o.honest[1]:.0f}-{100 * o.honest[2]:.0f})",
         f"{100 * o.settled[0]:.0f} % ({100 * o.settled[1]:.0f}-{100 * o.settled[2]:.0f})")
        for o in found.outlooks
    ]  # fmt: skip
    show_table("Predicted and seen, in percent with 95 %",
               ["line", "obstacle", "truck", "predicted", "seen", "95 %", "from other lines", "now"], rows, left=3)
    if found.ahead:
        show_table("Not driven yet", ["obstacle", "truck", "predicted", "calibrated, 95 %"], [
            (o.tried.where, o.tried.configuration, f"{100 * o.predicted:.0f} %",
             f"{100 * o.settled[0]:.0f} % ({100 * o.settled[1]:.0f}-{100 * o.settled[2]:.0f})") for o in found.ahead
        ], left=2)  # fmt: skip
    show_table(
        "Scores over all tries (smaller is better)",
        ["", "Brier", "= reliability", "- resolution", "+ uncertainty", "log score"],
        [(g.name, f"{g.brier.score:.3f}", f"{g.brier.reliability:.3f}", f"{g.brier.resolution:.3f}",
          f"{g.brier.uncertainty:.3f}", f"{g.log_score:.3f}") for g in found.grades],
    )  # fmt: skip
    show_table("By kind of obstacle", ["", "lines", "tries", "predicted", "seen", "difference, 95 %"], [
        (f.name, str(f.lines), str(f.tries), f"{100 * f.predicted:.0f} %", f"{100 * f.seen:.0f} %",
         "one line: no interval" if f.lines < 2 else
         f"{100 * f.gap.value:+.0f} ({100 * f.gap.low:+.0f} to {100 * f.gap.high:+.0f})") for f in found.families
    ])  # fmt: skip
    for text in found.conclusions:
        say(f"- {text}")


def _draw(found: Reality, path: Path) -> list[Path]:
    from sim.chart.reality_chart import calibration_chart, learning_chart
    from sim.chart.style import save

    stem = path.with_suffix("") if path.suffix in (".png", ".svg") else path
    return [
        *save(calibration_chart(found), stem.with_name(f"{stem.name}-calibration")),
        *save(learning_chart(found), stem.with_name(f"{stem.name}-learned")),
    ]
