"""``cragbench batch``: run a plan, or go on with it."""

from __future__ import annotations

import os
import shlex
import sys
import time
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli.console import note, say, show_json
from sim.cli.options import Json, PlanFile, Workers

if TYPE_CHECKING:
    from sim.batch.batch import Progress
    from sim.batch.session import Elsewhere
    from sim.batch.study import Study


class Target(StrEnum):
    """Where trials run."""

    cpu = "cpu"
    gpu = "gpu"


class ClusterTarget(StrEnum):
    """Where trials run, behind a scheduler too."""

    cpu = "cpu"
    gpu = "gpu"
    any = "any"


UNFINISHED = 130
_CREW = {"cpu": "cores", "gpu": "graphics processors", "any": "cores and graphics processors"}
SET_ASIDE = 1


def batch(
    plan: PlanFile,
    store: Annotated[Path | None, typer.Option(help="Store to fill; left out, the one the plan names.")] = None,
    workers: Workers = None,
    nice: Annotated[int, typer.Option(min=0, max=19, help="How far workers step back for other programs.")] = 5,
    watchdog: Annotated[float, typer.Option(min=1, help="Seconds after which a trial counts as hung.")] = 120.0,
    memory_mb: Annotated[int, typer.Option("--memory-mb", min=64, help="A worker above this is replaced.")] = 1024,
    scheduler: Annotated[
        str | None, typer.Option(help="Run trials on the workers of this Dask scheduler, as tcp://127.0.0.1:8786.")
    ] = None,
    on: Annotated[
        ClusterTarget, typer.Option(help="Where trials run: on cores, on a graphics processor (cragbench[gpu]), "
                                    "or with --scheduler on any of them.")
    ] = ClusterTarget.cpu,
    tls_ca: Annotated[Path | None, typer.Option(help="CA certificate (PEM) for a tls:// scheduler.")] = None,
    tls_cert: Annotated[Path | None, typer.Option(help="Own certificate (PEM).")] = None,
    tls_key: Annotated[Path | None, typer.Option(help="Its key (PEM).")] = None,
    as_json: Json = False,
) -> None:
    """Run every trial of a plan that is not in the store yet.

    A finished trial is on the disk before it is counted. Ctrl-C stops within two seconds and keeps what is done; the
    same command goes on from there. Results do not depend on the number of workers, their order, or restarts.

    With --scheduler the same trials run on the workers of a Dask scheduler; the store stays here. A tcp:// connection
    is neither encrypted nor authenticated, and whoever can reach the scheduler can run code on its workers: keep it
    on 127.0.0.1 or a trusted network, or use tls:// with certificates.

    With --on gpu thousands of trials run at once on a graphics processor. Their last digits may differ from those of
    a core, so that their keys do: a store holds both side by side, and results of one target are never taken for the
    other's. With --scheduler, workers that were started with the Dask resource gpu (--resources gpu=1) take packets of
    trials; --on any has cores drive beside them, and its keys are a third kind, for either may have driven a trial.
    """
    from sim.batch.estimate import most_memory_mb
    from sim.batch.run_study import of_others, run_study
    from sim.batch.study import prepare
    from sim.cli.progress import watcher
    from sim.errors import SimError

    if on == ClusterTarget.any and scheduler is None:
        raise SimError("cores and graphics processors work together behind a scheduler only", field="on", value="any",
                       remedy="Add --scheduler, or give --on gpu")  # fmt: skip
    study = prepare(plan)
    path = store or study.store
    count = workers or available_cores()
    others = of_others(study, path) if on == ClusterTarget.cpu else 0
    if not as_json:
        most = most_memory_mb(study, count, memory_mb)
        here = f"{count} workers (at most {most:.0f} MB of memory in all)"
        where = "graphics processor" if on == ClusterTarget.gpu else here
        where = where if scheduler is None else f"workers of {scheduler} ({_CREW[on.value]})"
        say(f"{study.plan.name}: {len(study.trucks)} trucks, {where}, store {path}")
        if others:
            note(f"NOTE: {others} trial(s) in this store are of another version or target of the physics or of these "
                 "trucks: they stay as they are, none of them is used, and what the plan asks for is driven again.")
    began = time.monotonic()
    with watcher(study, quiet=as_json) as watch:
        progress = run_study(
            study,
            path,
            workers=count,
            niceness=nice,
            watchdog_s=watchdog,
            memory_mb=memory_mb,
            elsewhere=_elsewhere(scheduler, (tls_ca, tls_cert, tls_key), on),
            on_device=on == ClusterTarget.gpu and scheduler is None,
            watch=watch,
        )
    again = shlex.join(["cragbench", "batch", *sys.argv[2:]])
    if as_json:
        show_json(as_data(study, path, progress) | {"of_other_versions": others})
    else:
        report(study, path, progress, again, time.monotonic() - began)
    if progress.ending == "interrupted":
        raise typer.Exit(UNFINISHED)
    if progress.faults:
        raise typer.Exit(SET_ASIDE)


def _elsewhere(scheduler: str | None, tls: tuple[Path | None, ...], on: ClusterTarget) -> Elsewhere | None:
    from sim.batch.session import Elsewhere
    from sim.errors import SimError

    given = tuple(str(path) for path in tls if path is not None)
    if scheduler is None or not given:
        if given:
            raise SimError("certificates are for a scheduler", field="tls-ca", remedy="Give --scheduler tls://...")
        return None if scheduler is None else Elsewhere(scheduler, on=on.value)
    if len(given) < 3:
        raise SimError("three files make a certificate", field="tls", value=given,
                       remedy="Give --tls-ca, --tls-cert and --tls-key")
    return Elsewhere(scheduler, (given[0], given[1], given[2]), on.value)


def available_cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def as_data(study: Study, path: Path, progress: Progress) -> dict[str, object]:
    """What a batch did, as plain data."""
    return {
        "plan": study.plan.name,
        "store": str(path),
        "ending": progress.ending,
        "done": progress.done,
        "known": progress.known,
        "left": progress.left,
        "outcomes": dict(progress.outcomes),
        "retried": progress.retried,
        "set_aside": [{"kind": f.kind, "text": f.text, "repeat": f.task.repeat} for f in progress.faults],
        "elapsed_s": progress.elapsed_s,
        "trials_per_s": progress.rate,
    }


def report(study: Study, path: Path, progress: Progress, again: str, elapsed: float) -> None:
    """Say what a batch did and how to go on."""
    kept = f", {progress.known} were there already" if progress.known else ""
    say(f"{progress.done} trials run in {elapsed:.0f} s ({progress.rate:.1f} a second){kept}.")
    if progress.retried:
        note(f"{progress.retried} given to another worker, since theirs crashed or hung.")
    if progress.outcomes["invalid"]:
        note(f"WARNING: {progress.outcomes['invalid']} trials are invalid (the solver failed); they count as nothing.")
    for fault in progress.faults[:5]:
        where = f"{fault.task.obstacle}, level {fault.task.level:g}, repeat {fault.task.repeat}"
        note(f"Set aside ({fault.kind}): {where}: {fault.text}")
    if len(progress.faults) > 5:
        note(f"... and {len(progress.faults) - 5} more set aside.")
    if progress.ending == "interrupted":
        say(f"Stopped; {progress.left} trials to go. What is done is kept. Go on with:")
        say(f"  {again}")
        return
    if progress.ending == "out of time":
        say(f"Time is up ({datetime.now():%H:%M}); {progress.left} trials to go. Go on with:")
        say(f"  {again}")
    say(f"Compare: cragbench compare {shlex.quote(str(path))}")
