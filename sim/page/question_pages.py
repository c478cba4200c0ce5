"""The question screen: the truck as it is against changes, on ground seen in pictures; the run and its answer."""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from models.sheet import load_sheet
from models.spec import Sheet
from sim.errors import SimError
from sim.page.folder import FolderFile
from sim.page.run_state import Runs, RunState
from sim.page.shelf import Shelf, shelf_of
from terrain.families.registry import FAMILIES
from terrain.file_name import GROUND, full_name, names_file

DECISIONS: dict[str, Literal["worth", "budget", "doubt"]] = {one: one for one in ("worth", "budget", "doubt")}
ASKED = {"worth": "which is worth its money and grams", "budget": "what a sum of money buys best",
         "doubt": "could what is not known flip it"}
USUAL = ("climb", "ledge-on-slope", "side-hill", "descent")
LENGTHS = ((20, "a first look"), (40, "an evening"), (150, "a night"))
"""Repeats of each truck at each level, and what people call that."""
MOST_CHANGES, MOST_FAMILIES = 8, 12


def form(request: Request) -> Response:
    """Ask what is to be compared with what, on which ground."""
    shelf = shelf_of(request)
    sheets = shelf.folder.files("sheet")
    name = request.query_params.get("sheet", sheets[0].name if sheets else "")
    changes = [] if not name else _fitting(shelf, name)
    sheet = None if not name else load_sheet(shelf.folder.existing(name, ".toml"))
    families = [] if sheet is None else [
        *((one.name, one.title, f"your own, {one.name}; levels are percent of its heights")
          for one in shelf.folder.files("ground")),
        *((f.name, f.name.replace("-", " "), f.summary) for f in FAMILIES.values())]
    unsaved = bool(name) and shelf.desk(name)[0].unsaved
    return shelf.page("question.html", request, here="question", sheets=sheets, sheet=name, changes=changes,
                      families=families, lengths=LENGTHS, unsaved=unsaved, runs=_runs(shelf).all(),
                      ticked=request.query_params.getlist("family") or USUAL,
                      plans=shelf.folder.files("plan"), picked=request.query_params.getlist("change"))


def picture(request: Request) -> Response:
    """Give the picture of one family for one truck."""
    shelf = shelf_of(request)
    family = request.query_params.get("family", "")
    if names_file(family):
        # With a hash of what it holds: a file that has changed is another picture.
        family = full_name(str(shelf.folder.existing(family, GROUND)))
    elif family not in [one.name for one in FAMILIES.values()]:
        raise SimError("there is no such family", field="family", value=family, remedy="Choose one that is shown")
    sheet = load_sheet(shelf.folder.existing(request.query_params.get("sheet", ""), ".toml"))
    return Response(_drawn(family, sheet), media_type="image/svg+xml")


@lru_cache(maxsize=256)
def _drawn(family: str, sheet: Sheet) -> Markup:
    from sim.page.ground_picture import ground_picture

    return ground_picture(family, sheet)


async def ask(request: Request) -> Response:
    """Start a run."""
    sent = await request.form()
    return await run_in_threadpool(_ask, request, sent)


def _ask(request: Request, sent: FormData) -> Response:
    shelf = shelf_of(request)
    kind = str(sent.get("kind", "plan"))
    if kind == "again":
        state = _of_plan(shelf, str(sent.get("plan", "")))
    elif kind == "reality":
        state = _of_log(shelf, str(sent.get("store", "")))
    else:
        state = _new(shelf, sent, kind)
    _runs(shelf).start(state)
    return RedirectResponse(f"{request.scope['root_path']}/question/run?run={state.name}", 303)


def _new(shelf: Shelf, sent: FormData, kind: str) -> RunState:
    build = str(sent.get("sheet", ""))
    shelf.folder.existing(build, ".toml")
    changes = [str(one) for one in sent.getlist("change")]
    if not 1 <= len(changes) <= MOST_CHANGES:
        raise SimError("choose what the truck as it is is compared with", field="change", value=len(changes),
                       remedy=f"Tick one to {MOST_CHANGES} changes, or make one on the truck screen")
    known = {one.name: one.title for one in _fitting(shelf, build)}
    for one in changes:
        if one not in known:
            raise SimError("is not a change of this folder for this truck", field="change", value=one,
                           remedy="Tick one that is shown")
    stem, named = Path(build).stem, [{"name": known[one], "file": one} for one in changes]
    families = [str(one) for one in sent.getlist("family")]
    if not 1 <= len(families) <= MOST_FAMILIES or set(families) - {
            *(one.name for one in FAMILIES.values()), *(one.name for one in shelf.folder.files("ground"))}:
        raise SimError("choose the ground", field="family", value=len(families),
                       remedy=f"Tick one to {MOST_FAMILIES} kinds of obstacle")
    if kind in DECISIONS:
        options = ["--money", str(_number(sent, "money"))] if kind == "budget" else []
        name = _free(shelf, f"{stem}-{kind}")
        title = f"{stem}: {ASKED[kind]}? {', '.join(known[one] for one in changes)}"[:200]
        return RunState(name, DECISIONS[kind], {"name": title, "build": build, "changes": named, "families": families,
                                                "out": f"questions/{name}", "options": options})
    until = str(sent.get("until", ""))
    if until and not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", until):
        raise SimError("is not a time of day", field="until", value=until, remedy="Write it like 06:30, or nothing")
    name = _free(shelf, f"{stem}-{'-'.join(Path(one).stem for one in changes[:2])}")
    job = {"plan": f"questions/{name}.toml", "build": build, "families": families, "changes": named,
           "name": f"{stem}: {' or '.join(known[one] for one in changes)}"[:200], "until": until,
           "repeats": int(_number(sent, "repeats")),
           "together": sent.get("together") == "yes" and len(changes) > 1}
    return RunState(name, "plan", job)


def _of_log(shelf: Shelf, store: str) -> RunState:
    """The tries of the rock log held against the simulation; asked again after another day, it is the same run."""
    shelf.folder.existing(store, ".sqlite")
    return RunState("rock-log", "reality", {"name": "The rock log against the simulation", "store": store})


def _of_plan(shelf: Shelf, plan: str) -> RunState:
    """A run of a plan that is there, whoever wrote it."""
    shelf.folder.existing(plan, ".toml")
    name = "".join(c if c.isalnum() else "-" for c in plan.removesuffix(".toml"))
    known = next((one for one in _runs(shelf).all() if one.job.get("plan") == plan), None)
    title = next((one.title for one in shelf.folder.files("plan") if one.name == plan), name)
    return known or RunState(name, "plan", {"plan": plan, "name": title})


def run(request: Request) -> Response:
    """Show a run."""
    shelf = shelf_of(request)
    return shelf.page("run.html", request, here="question", **_seen(shelf, request.query_params.get("run", "")))


def state(request: Request) -> Response:
    """Give the part of a run's page that changes, or nothing if it is what the window shows."""
    shelf = shelf_of(request)
    values = _seen(shelf, request.query_params.get("run", ""))
    if request.query_params.get("seen") == values["seen"]:
        return Response(status_code=204)
    return shelf.page("run_state.html", request, **values)


async def control(request: Request) -> Response:
    """Stop a run, or go on with it."""
    sent = await request.form()
    shelf = shelf_of(request)
    runs = _runs(shelf)
    name = str(sent.get("run", ""))
    if sent.get("what") == "stop":
        await run_in_threadpool(runs.stop, name)
    else:
        await run_in_threadpool(runs.start, runs.state(name))
    values = await run_in_threadpool(_seen, shelf, name)
    return shelf.page("run_state.html", request, **values)


def _seen(shelf: Shelf, name: str) -> dict[str, Any]:
    from sim.page.findings import findings, of_decision, words

    found = _runs(shelf).state(name)
    store = _store(shelf, found)
    shown = findings(store) if store is not None and store.exists() else None
    total = found.done + found.known + found.left
    where = shelf.folder.name(store) if store else ""
    seen = {"run": found, "running": found.at_work, "findings": shown, "store": where, "total": total,
            "left": _time(found.seconds_left), "decided": of_decision(found),
            "words": words(found), "build": str(found.job.get("build", ""))}
    # So that a window whose run stands still keeps what somebody is reading as it is.
    return seen | {"seen": hashlib.sha256(repr(seen).encode()).hexdigest()[:16]}


def _store(shelf: Shelf, found: RunState) -> Path | None:
    if found.kind != "plan":
        return None
    from sim.batch.plan import read_plan, store_path

    plan = shelf.folder.path(str(found.job["plan"]), ".toml")
    return store_path(read_plan(plan)[0], plan) if plan.exists() else plan.with_suffix(".sqlite")


def words_of(shelf: Shelf, store: str) -> tuple[Mapping[str, Any], ...]:
    """What was said of the changes when the run that filled a store had ended; nothing where no run of the page did."""
    from sim.page.findings import words

    wanted = shelf.folder.path(store, ".sqlite")
    for run in _runs(shelf).all():
        try:
            if words(run) and _store(shelf, run) == wanted:
                return words(run)
        except SimError:  # the plan of another run was spoilt since
            continue
    return ()


def _time(seconds: float | None) -> str:
    if seconds is None:
        return ""
    if seconds < 90:
        return f"about {max(1, round(seconds))} s left"
    return f"about {round(seconds / 60)} min left" if seconds < 5400 else f"about {seconds / 3600:.1f} h left"


def _fitting(shelf: Shelf, sheet: str) -> list[FolderFile]:
    """Changes of the folder that are made for this truck's scale."""
    scale = next((one.scale for one in shelf.folder.files("sheet") if one.name == sheet), None)
    return [one for one in shelf.folder.files("change") if one.scale in (None, scale)]


def _free(shelf: Shelf, stem: str) -> str:
    taken = {one.name for one in _runs(shelf).all()}
    name = shelf.folder.free_name(stem, ".toml", under="questions").removeprefix("questions/").removesuffix(".toml")
    return next(one for one in (name, *(f"{name}-{n}" for n in range(2, 1000))) if one not in taken)


def _number(sent: FormData, key: str) -> float:
    from sim.page.typed import number

    value = number(str(sent.get(key, "")), key)
    if not 1 <= value <= 1_000_000:
        raise SimError("is out of range", field=key, value=value, remedy="Use 1 to 1000000")
    return value


_LOCK = threading.Lock()
_RUNS: dict[Path, Runs] = {}


def _runs(shelf: Shelf) -> Runs:
    with _LOCK:
        root = shelf.folder.root
        return _RUNS.setdefault(root, Runs(shelf.folder.own(), root))


ROUTES = [
    Route("/question", form),
    Route("/question/picture", picture),
    Route("/question/ask", ask, methods=["POST"]),
    Route("/question/run", run),
    Route("/question/state", state),
    Route("/question/control", control, methods=["POST"]),
]
