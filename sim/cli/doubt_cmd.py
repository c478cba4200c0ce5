"""``cragbench doubt``: which unknown could flip a verdict, and what to measure to settle it."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import say, show_json, show_table

if TYPE_CHECKING:
    from sim.decision.doubt import Doubt


def doubt(
    build: options.Build,
    changes: options.Changes,
    change: options.On = None,
    line: options.LineOption = None,
    course: options.CourseOption = None,
    repeats: Annotated[int, typer.Option(min=1, max=50, help="Repeats at every point.")] = 2,
    starts: Annotated[int, typer.Option(min=2, max=100, help="Random starts; runs are this times the unknowns "
                                        "plus one.")] = 3,
    driver: options.Driver = "steady",
    seed: options.Seed = 1,
    workers: options.Workers = None,
    out: options.Out = None,
    formats: options.Formats = "png,svg",
    as_json: options.Json = False,
) -> None:
    """Could what you do not know flip the verdict on these changes? Grip, height, tyres, shocks, driver varied.

    Both trucks are driven anew with every set of values; the answer says which unknown matters most and what to
    measure on the bench to settle it.
    """
    from models.change import load_change
    from models.configuration import configure
    from models.edit import apply
    from sim.decision import doubt as doubts
    from sim.decision.change_sets import drawer as make_drawer
    from sim.decision.obstacle_mix import lines as make_lines
    from sim.decision.runner import yard
    from sim.trial.truck import assemble

    began = time.monotonic()
    sheet, before = options.read(build, change)
    drawer = make_drawer(apply(sheet, before), [load_change(file) for file in changes])
    base = drawer.truck(0)
    changed = assemble(configure(drawer.sheet, drawer.changes))
    lines = make_lines(line or (), course or (), yard(base))
    unknowns = doubts.USUAL
    points = doubts.design(unknowns, starts, seed)
    trucks = doubts.cast(base, changed, unknowns, points)
    if not as_json:
        say(f"{' + '.join(drawer.names)}: {len(points)} runs of both trucks, {len(unknowns)} unknowns.")
    folder = options.folder_of(out, build)
    with options.trials(trucks, lines, folder, driver=driver, seed=seed, workers=workers, quiet=as_json) as field:
        answer = doubts.investigate(field, base, changed, unknowns, points, repeats=repeats)
    stated = lines[0].level is not None
    files = _draw(answer, folder, formats, stated)
    if as_json:
        show_json(as_data(answer, stated) | {"trials": field.run_trials + field.known_trials,
                                             "seconds": time.monotonic() - began, "files": [str(f) for f in files]})
        return
    _show(answer)
    say(doubts.sentence(answer, stated))
    say(f"{options.effort(field, lines)}; {time.monotonic() - began:.0f} s.")
    for file in files:
        say(f"wrote {file}")


def as_data(answer: Doubt, stated: bool) -> dict[str, Any]:
    """The answer as plain data."""
    from sim.decision.doubt import sentence

    return {
        "sentence": sentence(answer, stated),
        "nominal": answer.nominal,
        "runs": answer.runs,
        "flipped_percent": 100 * answer.flipped,
        "unknowns": [
            {"name": one.unknown.name, "range": [one.unknown.low, one.unknown.high], "unit": one.unknown.unit,
             "strength": one.strength, "strength_error": one.strength_error, "direction": one.direction,
             "flips_at": one.flips_at, "measure": one.unknown.bench} for one in answer.influences
        ],
        "scores": answer.scores,
    }


def _show(answer: Doubt) -> None:
    rows = []
    for one in answer.influences:
        flips = "no" if one.flips_at is None else f"near {one.flips_at:+.2g} {one.unknown.unit}"
        rows.append((one.unknown.name, f"{one.unknown.low:+g} to {one.unknown.high:+g} {one.unknown.unit}",
                     f"{one.strength:.1f} ± {one.strength_error:.1f}", f"{one.direction:+.1f}", flips))
    show_table(f"Difference as on the sheet: {answer.nominal:+.1f} (log-% of the limits, or points)",
               ("unknown", "range", "strength", "direction", "flips it"), rows)


def _draw(answer: Doubt, folder: Path, formats: str, stated: bool) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.doubt import doubt as draw
    from sim.decision.doubt import sentence

    title = sentence(answer, stated).split(". Measure")[0]
    return style.save(draw(answer, title, stated), folder / "doubt", formats.split(","))
