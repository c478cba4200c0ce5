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
    from sim.decision.judgement import Spread
    from sim.decision.levels import Chosen
    from sim.decision.spoken import Spoken
    from sim.decision.unknowns import Prior

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
    second_driver: options.SecondDriver = "bump",
    luck_only: options.LuckOnly = False,
    known: options.Known = None,
    out: options.Out = None,
    as_json: options.Json = False,
) -> None:
    """Is it better with the change? Finds levels worth driving, drives both, and gives verdict, chart and page.

    Several changes are each compared with the truck as it is. The word on each follows from luck, from what is not
    known of the truck and its driver, from both sides and from leaving out one obstacle at a time. Ctrl-C keeps what
    is done; the same command goes on.
    """
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare
    from sim.cli.batch_cmd import available_cores, report
    from sim.cli.compare_cmd import as_data, show, write_files
    from sim.cli.progress import watcher
    from sim.compare.comparison import compare
    from sim.compare.sentences import finding
    from sim.decision.wording import assumed
    from sim.report.page import write_report
    from sim.store.store import Store

    began = time.monotonic()
    folder = out or Path(f"{build.stem}-verdict")
    plan = folder / "plan.toml"
    sheet, _ = options.read(build, None)
    unknowns = () if luck_only else options.stated_priors(sheet, driver, second_driver, known)
    chosen, spreads = _planned(build, changes, line or [], plan, repeats=repeats, driver=driver, seed=seed,
                               workers=workers, quiet=as_json, unknowns=unknowns)
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
    words = _spoken(build, changes, comparison, study, least, chosen, spreads)
    files = write_files(comparison, folder, "verdict", ["png", "svg"], ASSUMED)
    page = write_report(study.store, folder / "verdict.html", baseline=study.baseline.name)[0]
    if as_json:
        show_json(as_data(comparison) | {
            "finding": finding(comparison), "plan": str(plan), "page": str(page),
            "levels": {entry.family: list(entry.levels) for entry in study.plan.obstacle},
            "words": [{"name": one.name, **options.judged(one.found), "text": one.regret} for one in words],
            "files": [str(file) for file in (page, *files, study.store)],
        })
        return
    show(comparison)
    say(f"In one sentence: {finding(comparison)}.")
    for one in words:
        for text in one.texts:
            say(text)
    say(ASSUMED)
    if unknowns:
        say(f"{assumed(unknowns)}.")
    say()
    say(f"{progress.done} trials in {time.monotonic() - began:.0f} s. Files:")
    for file in (page, *files, plan):
        say(f"  {file}")


def _spoken(
    build: Path, changes: Sequence[Path], comparison: Comparison, study: Study, least: float,
    chosen: Sequence[Chosen], spreads: Sequence[Spread | None],
) -> tuple[Spoken, ...]:  # fmt: skip
    """The judgement on each change, and what being wrong about it costs in points, money and holes."""
    from models.change import load_change
    from models.sheet import load_sheet
    from sim.decision.driven import ranged
    from sim.decision.spoken import spoken

    offers = [(change.name, [change]) for change in (load_change(file) for file in changes)]
    return spoken(comparison, study.trucks, load_sheet(build), offers, ranged(chosen), least, spreads)


def _planned(
    build: Path, changes: Sequence[Path], wanted: Sequence[str], plan: Path, *, repeats: int, driver: str, seed: int,
    workers: int | None, quiet: bool, unknowns: Sequence[Prior],
) -> tuple[tuple[Chosen, ...], list[Spread | None]]:  # fmt: skip
    """Find the levels, write the plan, and find what the unknowns add to each change."""
    import os

    from models.change import load_change
    from sim.decision.cases import drawn
    from sim.decision.levels import REPEATS, chosen_levels
    from sim.decision.obstacle_mix import lines
    from sim.decision.plan_text import plan_text
    from sim.decision.runner import yard
    from sim.decision.spoken import spreads
    from sim.errors import SimError
    from sim.trial.truck import load_truck

    trucks = [load_truck(build, name="as it is")]
    names = [load_change(change).name for change in changes]
    trucks += [load_truck(build, [change], name=name) for change, name in zip(changes, names, strict=True)]
    mix = lines(wanted, [], yard(trucks[0]))
    if not quiet:
        note(f"Looking for levels between 10 and 90 % on {', '.join(one.name for one in mix)} ...")
    cases = drawn(unknowns, driver, seed=seed, repeats=REPEATS) if unknowns else None
    with options.trials(trucks, mix, plan.parent, driver=driver, seed=seed, workers=workers, quiet=quiet,
                        cases=cases) as field:
        chosen = chosen_levels(field, [truck.hash for truck in trucks], mix)
        added = spreads(field, cases, chosen, trucks)
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
    return chosen, added


def _tell(study: Study, chosen: Sequence[Chosen]) -> None:
    for one in chosen:
        if one.levels:
            levels = ", ".join(f"{level:g}" for level in one.levels)
            say(f"{one.line.name}: limits about {one.mean:.1f} {one.line.unit}, so {levels} {one.line.unit}")
        else:
            say(f"{one.line.name}: left out, its limit lies beyond what can be built")
    trials: Any = sum(len(entry.levels) for entry in study.plan.obstacle) * len(study.trucks) * study.plan.repeats
    say(f"Now {trials} trials, every truck meeting the same luck.")
