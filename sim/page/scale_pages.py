"""The scale screen: what scale, ruler and board said, the fitted sheet beside it, and the new sheet written from it."""

from __future__ import annotations

import datetime
from typing import Any
from urllib.parse import urlencode

import tomlkit
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from models.bench.procedure import PACK_CAUTION, TILT_CAUTION
from models.bench.quantity import Kind
from models.bench.typed_readings import several
from models.bench.unit_slips import WHEELS
from models.spec import PAIRED, Sheet
from sim.errors import SimError
from sim.page.shelf import Shelf, shelf_of
from sim.page.typed import field_text

FOLDER = "readings"
AXLES = ("front", "rear")
LENGTHS = ("wheelbase", "track_front", "track_rear", "axle_height_front", "axle_height_rear")
TIPPED = (("left", "over its left side"), ("right", "over its right side"), ("back", "backwards, nose up"),
          ("front", "over its nose"))
LIFTS = range(5)
"""How many lifts the form takes: three up, two down, as the trade does it."""


def screen(request: Request) -> Response:
    """Ask for readings of a truck, and list those that are there."""
    shelf = shelf_of(request)
    sheets = shelf.folder.files("sheet")
    name = request.query_params.get("sheet", sheets[0].name if sheets else "")
    truck = shelf.desk(name)[0].opened if name else None
    return shelf.page("scale.html", request, here="scale", sheets=sheets, sheet=name, readings=_of(shelf, truck),
                      parts=() if truck is None else truck.parts, paired=PAIRED, wheels=WHEELS, axles=AXLES,
                      lengths=LENGTHS, tipped=TIPPED, lifts=LIFTS, cautions=(PACK_CAUTION, TILT_CAUTION))


def _of(shelf: Shelf, truck: Sheet | None) -> list[Any]:
    """Readings files of the folder that name this truck."""
    return [one for one in shelf.folder.files("readings")
            if truck is not None and one.title.strip().lower() == truck.name.strip().lower()]


async def readings(request: Request) -> Response:
    """Keep readings that were typed, if the sheet can be fitted to them."""
    form = await request.form()
    return await run_in_threadpool(_readings, request, form)


def _readings(request: Request, form: FormData) -> Response:
    from models.bench.session import fit

    shelf = shelf_of(request)
    sheet = field_text(form, "sheet")
    file = shelf.folder.existing(sheet, ".toml")
    name = shelf.folder.free_name(f"{file.stem} {datetime.date.today():%Y-%m-%d}", ".toml", under=FOLDER)
    target = shelf.folder.path(name, ".toml")
    target.parent.mkdir(exist_ok=True)
    part = shelf.folder.own() / target.name
    try:
        part.write_text(tomlkit.dumps(_data(form, shelf.desk(sheet)[0].opened)), encoding="utf-8")
        fit(file, part)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return _to(request, "scale/fit", sheet=sheet, readings=name)


def _data(form: FormData, truck: Sheet) -> dict[str, Any]:
    """A readings file of what was filled in; what was left empty is not in it."""
    def read(kind: Kind, key: str) -> list[str]:
        return several(kind, field_text(form, key, ""), key)

    def one(kind: Kind, key: str) -> str:
        found = read(kind, key)
        if len(found) > 1:
            raise SimError("one value, please", field=key, value=", ".join(found), remedy="Give the mean")
        return found[0] if found else ""

    data: dict[str, Any] = {
        "schema": 1, "truck": truck.name, "date": f"{datetime.date.today():%Y-%m-%d}", "whole": read("mass", "whole"),
        **{key: one("length", key) for key in LENGTHS},
        **{f"tipped_{way}": one("angle", f"tipped_{way}") for way, _ in TIPPED},
        "suspension": "locked" if form.get("locked") == "yes" else "",
        "scale": {"step": one("mass", "step") or "1 g"},
    }
    for table, names in (("wheels", WHEELS), ("axles", AXLES)):
        group = {key: read("mass", f"{table}.{key}") for key in names}
        if any(group.values()) and not all(group.values()):
            raise SimError("some of these are missing", field=table, remedy=f"Fill in all {len(names)}, or none")
        data[table] = group if any(group.values()) else {}
    data["lift"] = [
        {"raised": field_text(form, f"lift.{n}.raised"), "height": one("length", f"lift.{n}.height"),
         "load": read("mass", f"lift.{n}.load"), "going": field_text(form, f"lift.{n}.going")}
        for n in LIFTS if field_text(form, f"lift.{n}.load", "").strip()]
    masses = {part.name: read("mass", f"part.{part.name}") for part in truck.parts}
    data["part"] = [{"name": name, "mass": found} for name, found in masses.items() if found]
    return {key: value for key, value in data.items() if value}


def fitted(request: Request) -> Response:
    """Show the sheet against the readings, and what a fit makes of it."""
    from models.bench.account import CHECKS, MOVES, NEXT, account
    from models.bench.session import fit

    shelf = shelf_of(request)
    sheet, name = (request.query_params.get(key, "") for key in ("sheet", "readings"))
    done = fit(shelf.folder.existing(sheet, ".toml"), shelf.folder.existing(name, ".toml"))
    heads = {"checks": CHECKS, "moves": MOVES, "following": NEXT}
    return shelf.page("fit.html", request, here="scale", sheet=sheet, readings=name, done=done, told=account(done),
                      heads=heads, simulated=done.weighed is not None and done.weighed.readings.simulated)


async def write(request: Request) -> Response:
    """Write the fitted sheet as a new file and put it on the bench."""
    form = await request.form()
    return await run_in_threadpool(_write, request, form)


def _write(request: Request, form: FormData) -> Response:
    from models.bench.session import fit
    from models.bench.session import write as keep

    shelf = shelf_of(request)
    done = fit(shelf.folder.existing(field_text(form, "sheet"), ".toml"),
               shelf.folder.existing(field_text(form, "readings"), ".toml"))
    name = field_text(form, "name").strip() or f"{done.sheet.name}, fitted"
    file = shelf.folder.free_name(name, ".toml")
    keep(done, shelf.folder.path(file, ".toml"), name)
    return _to(request, "truck", sheet=file)


def _to(request: Request, where: str, **query: str) -> Response:
    """Go to another screen, whether the browser asked or a fragment of its page."""
    link = f"{request.scope['root_path']}/{where}?{urlencode(query)}"
    if request.headers.get("hx-request"):
        return Response(headers={"HX-Redirect": link})
    return RedirectResponse(link, 303)


ROUTES = [
    Route("/scale", screen),
    Route("/scale/readings", readings, methods=["POST"]),
    Route("/scale/fit", fitted),
    Route("/scale/write", write, methods=["POST"]),
]
