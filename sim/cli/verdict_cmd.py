"""``cragbench verdict``: from a build sheet and changes to a verdict, a chart and a page, in one command."""

from __future__ import annotations

import shlex
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sim.batch.study import Study
    from sim.compare.comparison import Comparison
    from sim.decision.levels import Chosen
    from sim.decision.regret import Regret

ASSUMED = "By simulation: steady driver; luck varies start, grip, rocks and battery."


def verdict(
    build: options.Build,
    changes: options.Changes,
    line: options.LineOption = None,
    repeats: Annotated[int, typer.Option(min=1, max=100_000, help="Trials of each truck at each level.")] = 30,
    driver: options.Driver = "steady",
    seed: options.Seed = 1,
    workers: options.Workers = None,
    least: options.Least = 1.0,
    out: options.Out = None,
    as_json: options.Json = False,
) -> None:
    """Is it better with the change? Finds levels worth driving, drives both, and gives verdict, chart and page.

    Several changes are each compared with the truck as it is. Ctrl-C keeps what is done; the same command goes on.
    """
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare
    from sim.cli.batch_cmd import available_cores, report
    from sim.cli.compare_cmd import as_data, show, write_files
    from sim.cli.progress import watcher
    from sim.compare.comparison import compare
    from sim.compare.sentences import finding
    from sim.report.page import write_report
    from sim.store.store import Store

    began = time.monotonic()
    folder = out or Path(f"{build.stem}-verdict")
    plan = folder / "plan.toml"
    chosen = _planned(build, changes, line or [], plan, repeats=repeats, driver=driver, seed=seed, workers=workers,
                      quiet=as_json)
    study = prepare(plan)
    if not as_json:
        _tell(study, chosen)
    with watcher(study, quiet=as_json) as watch:
        progress = run_study(study, study.store, workers=workers or available_cores(), watch=watch)
    if progress.ending == "interrupted":
        report(study, study.store, progress, shlex.join(["cragbench", *sys.argv[1:]]), time.monotonic() - began)
        raise typer.Exit(options.INTERRUPTED)
    with Store(study.store) as store:
        comparison = compare(store, study.baseline.name)
    regrets = _regrets(build, changes, comparison, study, least)
    files = write_files(comparison, folder, "verdict", ["png", "svg"], ASSUMED)
    page = write_report(study.store, folder / "verdict.html", baseline=study.baseline.name)[0]
    if as_json:
        show_json(as_data(comparison) | {
            "finding": finding(comparison), "plan": str(plan), "page": str(page),
            "levels": {entry.family: list(entry.levels) for entry in study.plan.obstacle},
            "regrets": [{"name": name, **vars(regret), "text": text} for name, regret, text in regrets],
            "files": [str(file) for file in (page, *files, study.store)],
        })
        return
    show(comparison)
    say(f"In one sentence: {finding(comparison)}.")
    for name, _, text in regrets:
        say(f"{name}, luck only, averaged over what was driven: {text}")
    say(ASSUMED)
    say()
    say(f"{progress.done} trials in {time.monotonic() - began:.0f} s. Files:")
    for file in (page, *files, plan):
        say(f"  {file}")


def _regrets(
    build: Path, changes: Sequence[Path], comparison: Comparison, study: Study, least: float
) -> list[tuple[str, Regret, str]]:
    """What being wrong about each change costs in points, money and holes."""
    from models.change import load_change
    from models.edit import apply
    from models.sheet import load_sheet
    from sim.compare.sentences import TOO_FEW
    from sim.decision.drilling import holes_to_drill
    from sim.decision.regret import Regret
    from sim.statistics.interval import Estimate

    sheet, found = load_sheet(build), []
    names = {truck.name: truck.hash for truck in study.trucks}
    for change in (load_change(file) for file in changes):
        verdict = comparison.overall.get(names.get(change.name, ""))
        if verdict is None or verdict.word == TOO_FEW:
            continue
        d = verdict.difference
        regret = Regret.within(Estimate(100.0 * d.value, 100.0 * d.low, 100.0 * d.high), least)
        cost = change.cost
        text = regret.text(None if cost is None else cost.price, "" if cost is None else cost.currency,
                           holes_to_drill(sheet, apply(sheet, [change])))
        found.append((change.name, regret, text))
    return found


def _planned(
    build: Path, changes: Sequence[Path], wanted: Sequence[str], plan: Path, *, repeats: int, driver: str, seed: int,
    workers: int | None, quiet: bool,
) -> tuple[Chosen, ...]:  # fmt: skip
    """Find the levels and write the plan, unless it was written before for the same question."""
    import os

    from models.change import load_change
    from sim.decision.levels import chosen_levels
    from sim.decision.obstacle_mix import lines
    from sim.decision.plan_text import plan_text
    from sim.decision.runner import yard
    from sim.errors import SimError
    from sim.trial.truck import load_truck

    trucks = [load_truck(build, name="as it is")]
    names = [load_change(change).name for change in changes]
    trucks += [load_truck(build, [change], name=name) for change, name in zip(changes, names, strict=True)]
    mix = lines(wanted, [], yard(trucks[0]))
    if not quiet:
        note(f"Looking for levels between 10 and 90 % on {', '.join(one.name for one in mix)} ...")
    with options.trials(trucks, mix, plan.parent, driver=driver, seed=seed, workers=workers, quiet=quiet) as field:
        chosen = chosen_levels(field, [truck.hash for truck in trucks], mix)
    near = [(name, Path(os.path.relpath(file, plan.parent))) for name, file in zip(names, changes, strict=True)]
    try:
        text = plan_text(
            f"{trucks[0].configuration.sheet.name}: {' or '.join(names)}", Path(os.path.relpath(build, plan.parent)),
            near, chosen, seed=seed, repeats=repeats, base="as it is", driver=driver,
        )  # fmt: skip
    except ValueError:
        raise SimError("both trucks clear everything that can be built, or nothing", field="line",
                       remedy="Name other obstacles with --line; `cragbench terrain list` has them") from None
    try:
        plan.write_text(text, encoding="utf-8")
    except OSError as error:
        raise SimError(f"cannot be written: {error.strerror}", file=plan, remedy="Give another --out") from error
    return chosen


def _tell(study: Study, chosen: Sequence[Chosen]) -> None:
    for one in chosen:
        if one.levels:
            levels = ", ".join(f"{level:g}" for level in one.levels)
            say(f"{one.line.name}: limits about {one.mean:.1f} {one.line.unit}, so {levels} {one.line.unit}")
        else:
            say(f"{one.line.name}: left out, its limit lies beyond what can be built")
    trials: Any = sum(len(entry.levels) for entry in study.plan.obstacle) * len(study.trucks) * study.plan.repeats
    say(f"Now {trials} trials, every truck meeting the same luck.")
