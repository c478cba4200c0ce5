"""``cragbench demo``: one question from a bench, answered from end to end."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from models import glossary
from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json, Workers

if TYPE_CHECKING:
    from models.statics import Statics
    from sim.batch.study import Study

PLAN = Path(__file__).with_name("demo_plan.toml")
ASSUMED = "Invented truck; soft tyres on dry rock, steady driver; luck varies start, grip, rocks and battery."


def demo(
    folder: Annotated[Path, typer.Option(help="Where its files go; made if missing.")] = Path("cragbench-demo"),
    workers: Workers = None, as_json: Json = False,
) -> None:
    """What does moving the battery forward do? An invented 1/24 truck drives five obstacles, many times each way.

    Shows weight bias, handbook tip angles, success rates and tip-over margins with intervals, a chart, and one
    sentence. Takes a few minutes; Ctrl-C keeps what is done and a second run goes on from there.
    """
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare
    from sim.cli.batch_cmd import available_cores, report
    from sim.cli.compare_cmd import as_data, show, write_files
    from sim.cli.progress import watcher
    from sim.compare.comparison import compare
    from sim.compare.limits import limits
    from sim.compare.sentences import finding, sentences
    from sim.report.page import write_report
    from sim.store.store import Store

    began = time.monotonic()
    study = prepare(lay_out(folder))
    statics = _statics(study)
    if not as_json:
        _introduce(study, statics)
    with watcher(study, quiet=as_json) as watch:
        progress = run_study(study, study.store, workers=workers or available_cores(), watch=watch)
    if progress.ending == "interrupted":
        report(study, study.store, progress, f"cragbench demo --folder {folder}", time.monotonic() - began)
        raise typer.Exit(130)
    with Store(study.store) as store:
        comparison = compare(store, study.baseline.name)
    files = write_files(comparison, folder, "demo", ["png", "svg"], ASSUMED)
    page = write_report(study.store, folder / "demo-report.html", baseline=study.baseline.name)[0]
    if as_json:
        trucks = {truck.name: truck.facts | {"tip_deg": vars(statics[truck.name].tip_deg)} for truck in study.trucks}
        show_json(as_data(comparison) | {"trucks": trucks, "finding": finding(comparison),
                                         "files": [str(file) for file in (page, *files)]})
        return
    show(comparison)
    # The shift of the limit first: how large a difference at one level looks depends on the level that was chosen.
    first, *shifts = sentences(comparison, limits(comparison))
    for text in shifts:
        say(f"{text}.")
    say(f"Averaged over the levels: {first}.")
    say("Levels chosen around the limits of these two trucks, from what both clear to what neither does.")
    say(ASSUMED)
    say()
    say(f"{progress.done} trials in {time.monotonic() - began:.0f} s. Files:")
    for file in (*files, study.store, study.file):
        say(f"  {file}")
    say()
    say(f"The whole story on one page, with replays; open it in a browser: {page}")
    _what_next(folder)


def lay_out(folder: Path) -> Path:
    """Put the invented scenario and the plan into a folder, leaving what is there; returns the plan.

    :raises BuildSheetError: A scenario file there was edited, or the folder cannot be written.
    """
    from models import scenario

    scenario.copy_to(folder)
    plan = folder / "plan.toml"
    if not plan.exists():
        plan.write_bytes(PLAN.read_bytes())
    return plan


def _statics(study: Study) -> dict[str, Statics]:
    from models.statics import statics

    return {truck.name: statics(truck.configuration.sheet, truck.model) for truck in study.trucks}


def _introduce(study: Study, statics: dict[str, Statics]) -> None:
    say("What does moving the battery forward do to a 1/24 crawler? (invented truck)")
    say()
    names = [truck.name for truck in study.trucks]
    facts = [truck.facts for truck in study.trucks]
    tips = [statics[name].tip_deg for name in names]
    rows: list[tuple[str, list[Any]]] = [
        ("mass", [f"{f['mass_g']:.0f} g" for f in facts]),
        (glossary.FRONT_BIAS, [f"{f['front_percent']:.1f} %" for f in facts]),
        (glossary.SIDEWAYS, [f"{min(tip.left, tip.right):.1f}°" for tip in tips]),
        (glossary.BACK, [f"{tip.back:.1f}°" for tip in tips]),
        (glossary.OVER, [f"{tip.front:.1f}°" for tip in tips]),
    ]
    show_table("On the bench, by the handbook (rigid truck: a real one tips earlier)", ("", *names),
               [(name, *values) for name, values in rows])
    trials = sum(len(entry.levels) for entry in study.plan.obstacle) * len(names) * study.plan.repeats
    say(f"Now {trials} simulated trials, {study.plan.repeats} of each truck at each level of five obstacles, both "
        "trucks meeting the same luck.")


def _what_next(folder: Path) -> None:
    sheet, changes = folder / "gundi.toml", folder / "changes" / "gundi"
    say()
    say("Try next:")
    say(f"  cragbench sheet {sheet} --change {changes / 'battery-forward.toml'}")
    say(f"  cragbench drive {sheet} climb:50 --change {changes / 'front-wheel-rings.toml'}")
    say(f"  edit {folder / 'plan.toml'} and run: cragbench batch {folder / 'plan.toml'}")
    say("  cragbench start NAME      (your own truck, from a kitchen scale, a ruler and at most twelve answers)")
    say(f"  cragbench page {folder}      (all of it with a mouse or a finger)")
    say(f"  cragbench weigh {folder / 'readings' / 'gundi.toml'} --sheet {sheet}      (simulated readings)")
