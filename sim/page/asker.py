"""The process that answers a question: looks for levels, writes the plan, runs it; ``python -m sim.page.asker STATE``.

It lives apart from the page: closing the page, or killing its server, leaves it at work. What it runs is a plan and a
store like any other, so ``cragbench batch`` and ``cragbench compare`` go on from there.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.batch.batch import Progress
from sim.errors import SimError
from sim.page.run_state import RunState, held, read

if TYPE_CHECKING:
    from sim.batch.study import Study
    from sim.decision.judgement import Spread
    from sim.decision.levels import Chosen

BASE = "as it is"
"""Name of the truck that the others are compared with."""
TOGETHER = "all together"
"""Name of the truck with every change on it."""
DRIVER, SECOND, SEED = "steady", "bump", 1
"""Who drives, who drives half of the drawn cases, and the seed of all luck: those of ``cragbench verdict``."""
EVERY_S = 0.5
"""Between two looks at a run's state."""
PATIENCE_S = 60.0
"""s for a command that was told to stop: the trials at hand end first."""


class Teller:
    """Writes down where a run stands, now and then."""

    def __init__(self, file: Path, state: RunState) -> None:
        """Begin with a state."""
        self.file, self.state, self._last = file, state, 0.0

    def tell(self, **changes: Any) -> None:
        """Write at once."""
        self.state = replace(self.state, **changes)
        self.state.write(self.file)

    def watch(self, progress: Progress) -> None:
        """Write if it is time."""
        if time.monotonic() - self._last < EVERY_S:
            return
        self._last = time.monotonic()
        left = progress.seconds_left
        self.tell(done=progress.done, known=progress.known, left=progress.left,
                  seconds_left=None if math.isnan(left) else left)


def answer(teller: Teller, folder: Path) -> None:
    """Do what a run is for."""
    if teller.state.kind == "plan":
        _plan(teller, folder)
    else:
        _decide(teller, folder)


def _plan(teller: Teller, folder: Path) -> None:
    from sim.batch.run_study import run_study
    from sim.batch.study import prepare

    job = teller.state.job
    plan = folder / str(job["plan"])
    # A plan that was there before the page knows nothing of where its changes come from.
    found = levels(job, folder, teller) if "build" in job else None
    if found is not None and not plan.exists():
        text = written(job, found[0])
        plan.parent.mkdir(parents=True, exist_ok=True)
        with plan.open("x", encoding="utf-8") as out:
            out.write(text)
    study = prepare(plan)
    teller.tell(stage="trials", done=0, known=0, left=0, seconds_left=None)
    progress = run_study(study, study.store, workers=_cores(), niceness=5, watch=teller.watch)
    ending = {"finished": "done", "interrupted": "stopped", "out of time": "out of time"}[progress.ending]
    faults = f"{len(progress.faults)} trials were set aside: {progress.faults[0].text}" if progress.faults else ""
    result = {} if found is None or ending == "stopped" else _spoken(job, folder, study, *found)
    teller.tell(stage=ending, done=progress.done, known=progress.known, left=progress.left, seconds_left=None,
                message=faults, result=result)


def levels(job: Any, folder: Path, teller: Teller) -> tuple[tuple[Chosen, ...], list[Spread | None]]:
    """Find levels for the trucks of a question, and what is not known of them adds to each change.

    What was found before is in its store: going on with a run drives nothing twice.
    """
    from sim.decision.cases import drawn
    from sim.decision.levels import REPEATS, chosen_levels
    from sim.decision.obstacle_mix import lines
    from sim.decision.runner import opened, yard
    from sim.decision.spoken import spreads
    from sim.decision.unknowns import priors
    from sim.trial.truck import load_truck

    build = folder / str(job["build"])
    trucks = [load_truck(build, name=BASE)]
    trucks += [load_truck(build, files, name=name) for name, files in _offers(job, folder)]
    wanted = lines(_grounds(job, folder), (), yard(trucks[0]))
    cases = drawn(priors(trucks[0].configuration.sheet, DRIVER, {}, SECOND), DRIVER, seed=SEED, repeats=REPEATS)
    store = teller.file.parent / "levels.sqlite"
    teller.tell(stage="levels")
    with opened(trucks, wanted, yard(trucks[0]), store, workers=_cores(), watch=teller.watch, driver=DRIVER, seed=SEED,
                cases=cases.by_number()) as field:
        chosen = chosen_levels(field, [truck.hash for truck in trucks], wanted)
        teller.tell(stage="unknowns")
        return chosen, spreads(field, cases, chosen, trucks)


def _offers(job: Any, folder: Path) -> list[tuple[str, list[Path]]]:
    """Name of every configuration beside the truck as it is, and its change files."""
    each = [(str(one["name"]), [folder / str(one["file"])]) for one in job["changes"]]
    return [*each, *([(TOGETHER, [file for _, files in each for file in files])] if job.get("together") else [])]


def _spoken(
    job: Any, folder: Path, study: Study, chosen: Sequence[Chosen], added: Sequence[Spread | None]
) -> dict[str, Any]:
    """What ``cragbench verdict`` says of each change, word for word."""
    from models.change import load_change
    from models.sheet import load_sheet
    from sim.compare.comparison import compare
    from sim.decision.driven import ranged
    from sim.decision.effect import LEAST_WORTH
    from sim.decision.spoken import spoken
    from sim.decision.wording import assumed
    from sim.store.store import Store

    # The plan may have been edited since: its levels count. Own ground is known there by its place and content.
    entries = {entry.family.partition("#")[0]: entry for entry in study.plan.obstacle}
    driven = []
    for one, family in zip(chosen, _grounds(job, folder), strict=True):
        entry = entries.get(family) or entries.get(str(Path(family).resolve()))
        driven.append(replace(one, levels=() if entry is None else tuple(entry.levels),
                              line=replace(one.line, obstacle=one.line.obstacle if entry is None else entry.text)))
    offers = [(name, [load_change(file) for file in files]) for name, files in _offers(job, folder)]
    with Store(study.store) as store:
        told = spoken(compare(store, BASE), study.trucks, load_sheet(folder / str(job["build"])), offers,
                      ranged(driven), LEAST_WORTH, added)
    unknowns = next((one.unknowns for one in added if one is not None), ())
    return {"words": [{"name": one.name, "word": one.found.word, "texts": one.texts} for one in told],
            "assumed": f"{assumed(unknowns)}." if unknowns else ""}


def written(job: Any, chosen: Sequence[Chosen]) -> str:
    """Write the plan of a question at the levels found, as ``cragbench verdict`` does.

    :raises SimError: No obstacle has a level at which the trucks differ from always and never.
    """
    from sim.decision.plan_text import plan_text
    from terrain.file_name import names_file

    changes = [(str(one["name"]), str(one["file"])) for one in job["changes"]]
    above = Path(*[".."] * str(job["plan"]).count("/"))
    # Own ground as the plan sees it, like builds and changes: the folder may be moved.
    chosen = tuple(replace(one, line=replace(one.line, obstacle=str(above / family))) if names_file(family) else one
                   for one, family in zip(chosen, job["families"], strict=True))
    near = [(name, above / file) for name, file in changes]
    try:
        text = plan_text(str(job["name"]), above / str(job["build"]), near, chosen, seed=SEED,
                         repeats=int(job["repeats"]), base=BASE, driver=DRIVER)
    except ValueError:
        raise SimError("the trucks clear everything that can be built, or nothing", field="family",
                       remedy="Tick other obstacles") from None
    if job.get("until"):
        text = text.replace("traces = 2\n", f'traces = 2\nuntil = "{job["until"]}"\n', 1)
    if job.get("together"):
        text += f'\n[[configuration]]\nname = "{TOGETHER}"\n' + \
            f"build = {json.dumps(str(above / str(job['build'])))}\nchanges = {json.dumps([str(f) for _, f in near])}\n"
    return text


def _grounds(job: Any, folder: Path) -> list[str]:
    """The kinds of obstacle that were ticked, own ground by its place."""
    from terrain.file_name import names_file

    return [str(folder / one) if names_file(one) else one for one in job.get("families", ())]


def _decide(teller: Teller, folder: Path) -> None:
    """Have a decision command answer, in its own words and numbers."""
    job = teller.state.job
    # The rock log's store, or a sheet and its changes.
    asked = [job["store"]] if "store" in job else [job["build"], *(one["file"] for one in job["changes"])]
    out = ["--out", str(folder / str(job["out"]))] if "out" in job else []
    command = [sys.executable, "-m", "sim.cli.main", teller.state.kind, *(str(folder / str(one)) for one in asked),
               *(word for one in _grounds(job, folder) for word in ("--line", one)), *job.get("options", ()), "--json",
               *out]
    teller.tell(stage="working", done=0)
    code, said, fault = _watched(command, folder / str(job["out"]) / "trials.sqlite" if "out" in job else None, teller)
    if code == 130:
        raise KeyboardInterrupt
    if code:
        teller.tell(stage="failed", message=fault.strip()[-1000:])
        return
    result = json.loads(said)
    teller.tell(stage="done", result=result, done=int(result.get("trials", 0)))


def _watched(command: list[str], store: Path | None, teller: Teller) -> tuple[int, str, str]:
    """Run a command; tell now and then how many trials its store holds. Returns exit code, output, errors."""
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                          text=True) as child:
        try:
            while True:
                try:
                    said, fault = child.communicate(timeout=4 * EVERY_S)
                    return child.returncode, said, fault
                except subprocess.TimeoutExpired:
                    teller.tell(done=_stored(store))
        except KeyboardInterrupt:
            try:
                child.wait(PATIENCE_S)  # it was told too, and keeps what it has
            except subprocess.TimeoutExpired:
                child.kill()
            raise


def _stored(store: Path | None) -> int:
    """Trials of a store that somebody else is filling; 0 before there is one."""
    from sim.store.store import Store

    try:
        if store is None or not store.exists():
            return 0
        with Store(store) as opened:
            return opened.count()
    except SimError:  # half made at this moment
        return 0


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def main(arguments: list[str]) -> int:
    """Answer one question; its state says how it went."""
    from models.errors import BuildSheetError
    from sim.decision.runner import Stopped
    from terrain.errors import TerrainError

    file = Path(arguments[0]).resolve()
    with held(file, patience_s=10.0) as mine:
        if not mine:
            return 0
        teller = Teller(file, read(file))
        teller.tell(pid=os.getpid())
        try:
            answer(teller, file.parent.parent)
        except (KeyboardInterrupt, Stopped):
            teller.tell(stage="stopped", seconds_left=None)
        except (BuildSheetError, SimError, TerrainError) as fault:
            teller.tell(stage="failed", message=str(fault))
            return 2
        except Exception:
            teller.tell(stage="failed", message="This is a bug; the run's log beside its state says more.")
            raise
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
