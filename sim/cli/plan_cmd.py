"""``cragbench plan``: what a plan asks for, before it is run."""

from __future__ import annotations

from typing import Annotated

import typer

from sim.cli.console import say, show_json
from sim.cli.options import Json, PlanFile, Workers

app = typer.Typer(
    no_args_is_help=True, add_completion=False,
    help="A plan is a TOML file: trucks, obstacles with levels, how many trials. Check it and what it will take.",
)


@app.callback()
def _group() -> None:
    """Commands about plans."""


@app.command()
def check(
    plan: PlanFile,
    probe: Annotated[int, typer.Option(min=0, max=50, help="Trials of each obstacle run to measure the time.")] = 1,
    workers: Workers = None, as_json: Json = False,
) -> None:
    """Check a plan, count its trials, and estimate time and disk from a short measured probe."""
    from sim.batch.estimate import estimate
    from sim.batch.study import prepare
    from sim.cli.batch_cmd import available_cores
    from sim.cli.progress import duration

    study = prepare(plan)
    found = estimate(study, probe, workers or available_cores())
    if as_json:
        show_json(vars(found) | {"plan": study.plan.name, "trucks": [truck.name for truck in study.trucks]})
        return
    say(f"{study.plan.name}: {len(study.trucks)} trucks, {found.trials} trials ({found.known} done already)")
    if found.seconds_per_trial is not None:
        say(f"  {found.seconds_per_trial:.2f} s a trial (measured on {found.probed}), {found.workers} workers: about "
            f"{duration(found.seconds)}")
    memory = f", about {found.memory_mb:.0f} MB of memory, at most" if found.probed else ", of memory at most"
    memory += f" {found.most_memory_mb:.0f} MB"
    say(f"  {found.disk_mb:.1f} MB in {study.store}{memory}")
    if study.plan.until:
        say(f"  ends at {study.plan.until} at the latest")
