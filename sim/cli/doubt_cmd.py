"""``cragbench doubt``: which unknown could flip a verdict, and what to measure to settle it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import say, show_table

if TYPE_CHECKING:
    from sim.decision.doubt import Doubt


def doubt(
    build: options.Build, changes: options.Changes, change: options.On = None, line: options.LineOption = None,
    course: options.CourseOption = None,
    drawn: Annotated[int, typer.Option(min=12, max=512, help="Cases drawn from all priors together.")] = 32,
    driver: options.Driver = "steady", second_driver: options.SecondDriver = "bump", seed: options.Seed = 1,
    least: options.Least = 1.0, known: options.Known = None, workers: options.Workers = None, out: options.Out = None,
    formats: options.Formats = "png,svg", as_json: options.Json = False,
) -> None:
    """Could what you do not know flip the verdict on these changes, and what should you measure first?

    Every unknown is driven low and high by itself, in the luck of twelve repeats, and closed in on where the verdict
    flips; then all are drawn together from their stated priors. A long run: thousands of trials.
    """
    from models.change import load_change
    from models.configuration import configure
    from models.edit import apply
    from sim.decision import doubt as doubts
    from sim.decision.change_sets import drawer as make_drawer
    from sim.decision.obstacle_mix import lines as make_lines
    from sim.decision.runner import yard
    from sim.trial.truck import assemble

    asked = options.Asked(driver, as_json)
    sheet, before = options.read(build, change)
    drawer = make_drawer(apply(sheet, before), [load_change(file) for file in changes])
    base = drawer.truck(0)
    changed = assemble(configure(drawer.sheet, drawer.changes))
    lines = make_lines(line or (), course or (), yard(base))
    cases = doubts.cast(options.stated_priors(sheet, driver, second_driver, known), driver, drawn, seed)
    folder = options.folder_of(out, build)
    with options.trials([base, changed], lines, folder, driver=driver, seed=seed, workers=workers, quiet=as_json,
                        cases=cases) as field:
        answer = doubts.investigate(field, lines, base.hash, changed.hash, cases, least)
    files = _draw(answer, folder, formats)

    def show() -> None:
        _show(answer)
        for text in _told(answer):
            say(text)

    asked.end(field, lines, as_data(answer), files, (), show, answer.unknowns)


def as_data(answer: Doubt) -> dict[str, Any]:
    """The answer as plain data."""
    from sim.decision.doubt import sentence

    surface = answer.spread.surface
    return {
        "sentence": sentence(answer),
        "sentences": _told(answer),
        **options.judged(answer.judgement),
        "surface": {"error": surface.error, "spread": surface.spread, "explained": surface.explained},
        "influences": [
            {"name": one.unknown.name, "low": vars(one.low), "high": vars(one.high), "flips_percent": one.flips,
             "first_order": one.share, "total": one.total, "regret_saved": one.saved, "decides": one.decides,
             "minutes": one.unknown.minutes, "measure": one.unknown.bench} for one in answer.influences
        ],
        "gains": answer.gains,
    }


def _told(answer: Doubt) -> list[str]:
    """What is said under the table: the finding, its intervals, what being wrong costs."""
    from sim.decision.doubt import sentence
    from sim.decision.wording import intervals

    return [sentence(answer), intervals(answer.judgement), answer.judgement.regret.text()]


def _show(answer: Doubt) -> None:
    from sim.decision.wording import ranged

    rows = []
    for one in answer.influences:
        flips = "no" if one.flips is None else one.unknown.choices[-1] if one.unknown.choices else (
            f"{one.flips[0]:+.3g} to {one.flips[1]:+.3g} %")
        rows.append((one.unknown.text, ranged(one.low), ranged(one.high), flips, f"{100 * one.share:.0f} %",
                     f"{one.saved:.2f}", f"{one.unknown.minutes:g}", f"{100 * one.decides:.0f} %"))
    surface = answer.spread.surface
    show_table(f"Gain {ranged(answer.judgement.effect.gain)} with the sheet's values",
               ("unknown", "gain with it low", "high", "flips", "share", "regret saved, points", "minutes", "decides"),
               rows)
    say(f"Shares and values from a surface fitted to {len(answer.spread.added)} cases, which predicts a case it has "
        f"not seen to {surface.error:.1f} points, {100 * surface.explained:.0f} % of the variance; the rest is luck.")


def _draw(answer: Doubt, folder: Path, formats: str) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.doubt import doubt as draw
    from sim.decision.doubt import sentence

    return style.save(draw(answer, sentence(answer).split(". Measure")[0]), folder / "doubt", formats.split(","))
