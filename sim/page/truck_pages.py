"""The truck screen: move parts, set values, undo, save."""

from __future__ import annotations

import math
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from models.key import join, split
from models.spec import Sheet
from sim.errors import SimError
from sim.page.bench_view import Looker, companions
from sim.page.desk import Desk
from sim.page.edits import Edits, Place
from sim.page.saving import save_change, save_sheet
from sim.page.shelf import shelf_of
from sim.page.typed import field_text, number, unit_of

FARTHEST_MM = 2000.0
_SOURCES = ("measured", "fitted", "sold", "assumed")


def screen(request: Request) -> Response:
    """Show a sheet on the bench."""
    desk, looker = shelf_of(request).desk(request.query_params.get("sheet", ""))
    return shelf_of(request).page("truck.html", request, here="truck", **_all(desk, looker, _selected(request, desk)))


def part(request: Request) -> Response:
    """Show what is to be said of one part."""
    desk, looker = shelf_of(request).desk(request.query_params.get("sheet", ""))
    return shelf_of(request).page("bench.html", request, **_all(desk, looker, _selected(request, desk)))


def revision(request: Request) -> Response:
    """Give the bench anew if another window went on, else nothing."""
    desk, looker = shelf_of(request).desk(request.query_params.get("sheet", ""))
    if request.query_params.get("revision") == str(desk.revision):
        return Response(status_code=204)
    return shelf_of(request).page("bench.html", request, **_all(desk, looker, _selected(request, desk)))


def known(request: Request) -> Response:
    """Show what is known, and rank what is assumed by what it does to the angles."""
    from models.sensitivity import doubts

    desk, looker = shelf_of(request).desk(request.query_params.get("sheet", ""))
    bench = looker.look(desk.edits)
    return shelf_of(request).page("known.html", request, desk=desk, bench=bench, doubt=doubts(bench.sheet),
                                  parts=looker.part_rows(bench), assumed=_assumed(bench.sheet))


async def move(request: Request) -> Response:
    """Move parts by an offset; while they are held nothing is kept."""
    form = await request.form()
    return await run_in_threadpool(_move, request, form)


def _move(request: Request, form: FormData) -> Response:
    shelf = shelf_of(request)
    desk, looker = shelf.desk(field_text(form, "sheet"))
    names = [field_text(form, "part"), *(str(name) for name in form.getlist("with"))]
    by = [_offset(field_text(form, key, "0")) for key in ("by_x", "by_y", "by_z")]

    def step(edits: Edits) -> Edits:
        return edits.moved(desk.opened, _places(desk.opened, edits, names, by))

    if field_text(form, "keep", "") == "yes":
        desk.do(step)
        return shelf.page("bench.html", request, **_all(desk, looker, names[0]))
    return shelf.page("hold.html", request, bench=looker.hold(step(desk.edits), names))


def _places(opened: Sheet, edits: Edits, names: list[str], by: list[float]) -> dict[str, Place]:
    """New places; the first part snaps to whole millimetres along what it moves, the others go along."""
    known = {one.name: one.at_mm for one in opened.parts}
    first = edits.place(names[0], known)
    if first is None:
        raise SimError("this truck has no such part", field="part", value=names[0], remedy="Choose another")
    snapped = [math.floor(at + d + 0.5) - at if d else 0.0 for at, d in zip(first, by, strict=True)]
    found: dict[str, Place] = {}
    for name in names:
        at = edits.place(name, known)
        if at is not None:
            x, y, z = (round(a + s, 6) for a, s in zip(at, snapped, strict=True))
            found[name] = (x, y, z)
    return found


def _offset(text: str) -> float:
    value = float(text) if text.replace("-", "", 1).replace(".", "", 1).isdigit() else 0.0
    return max(-FARTHEST_MM, min(FARTHEST_MM, value))


async def place(request: Request) -> Response:
    """Put a part where typed figures say."""
    form = await request.form()
    return await run_in_threadpool(_place, request, form)


def _place(request: Request, form: FormData) -> Response:
    desk, looker = shelf_of(request).desk(field_text(form, "sheet"))
    names = [field_text(form, "part"), *(str(name) for name in form.getlist("with"))]
    known = {one.name: one.at_mm for one in desk.opened.parts}
    to = [number(field_text(form, key), key) for key in ("x_mm", "y_mm", "z_mm")]

    def step(edits: Edits) -> Edits:
        first = edits.place(names[0], known)
        if first is None:
            raise SimError("this truck has no such part", field="part", value=names[0], remedy="Choose another")
        found = {}
        for name in names:
            at = edits.place(name, known)
            if at is not None:
                x, y, z = (round(a + t - f, 6) for a, t, f in zip(at, to, first, strict=True))
                found[name] = (x, y, z)
        return edits.moved(desk.opened, found)

    desk.do(step)
    return shelf_of(request).page("bench.html", request, **_all(desk, looker, names[0]))


async def value(request: Request) -> Response:
    """Set one value of the sheet."""
    form = await request.form()
    return await run_in_threadpool(_value, request, form)


def _value(request: Request, form: FormData) -> Response:
    desk, looker = shelf_of(request).desk(field_text(form, "sheet"))
    key, typed = field_text(form, "key"), field_text(form, "value")
    source = field_text(form, "source", "")
    name = field_text(form, "part", "")

    def step(edits: Edits) -> Edits:
        if typed.strip():
            edits = edits.valued(key, number(typed, key))
        if source in _SOURCES and name:
            edits = edits.valued(join(["parts", name, "source"]), source)
        return edits

    desk.do(step)
    return shelf_of(request).page("bench.html", request, **_all(desk, looker, name))


async def weight(request: Request) -> Response:
    """Put a weight on, or take a part off."""
    form = await request.form()
    return await run_in_threadpool(_weight, request, form)


def _weight(request: Request, form: FormData) -> Response:
    desk, looker = shelf_of(request).desk(field_text(form, "sheet"))
    name = field_text(form, "part").strip()
    if field_text(form, "what") == "off":
        desk.do(lambda edits: edits.without(name))
        return shelf_of(request).page("bench.html", request, **_all(desk, looker, ""))
    grams = number(field_text(form, "mass_g"), "mass_g")
    body = field_text(form, "body")
    axle = desk.opened.axles.front if body == "front_axle" else desk.opened.axles.rear
    across = round((grams / 8.0e-3) ** (1 / 3) / 2 + 4.0, 1)
    at = [axle.x_mm if body != "chassis" else desk.opened.wheelbase_mm / 2, 0.0, 0.6 *
          desk.opened.tyres.front.outside_diameter_mm]
    new: dict[str, Any] = {"name": name, "body": body, "mass_g": grams, "at_mm": at, "size_mm": [across] * 3,
                           "source": "measured"}
    price = field_text(form, "price", "").strip()
    if price:
        new |= {"price": number(price, "price"), "currency": field_text(form, "currency", "USD") or "USD"}
    desk.do(lambda edits: edits.with_part(new))
    return shelf_of(request).page("bench.html", request, **_all(desk, looker, name))


async def history(request: Request) -> Response:
    """Undo or redo one step."""
    form = await request.form()
    desk, looker = shelf_of(request).desk(field_text(form, "sheet"))
    await run_in_threadpool(desk.undo if field_text(form, "way") == "undo" else desk.redo)
    values = await run_in_threadpool(_all, desk, looker, field_text(form, "part", ""))
    return shelf_of(request).page("bench.html", request, **values)


async def save(request: Request) -> Response:
    """Save the sheet, or what was done as a change."""
    form = await request.form()
    return await run_in_threadpool(_save, request, form)


def _save(request: Request, form: FormData) -> Response:
    shelf = shelf_of(request)
    desk, looker = shelf.desk(field_text(form, "sheet"))
    said = field_text(form, "name").strip()
    if field_text(form, "as") == "change":
        name = shelf.folder.free_name(said, ".toml", under="changes")
        target = shelf.folder.path(name, ".toml")
        save_change(desk, target, said or "change made on the page")
        desk.saved_as = shelf.folder.name(target)
        words = f"Saved as the change {desk.saved_as}."
    else:
        target = shelf.folder.path(said if said.endswith(".toml") else f"{said}.toml", ".toml")
        kept = save_sheet(desk, target, replace=field_text(form, "replace", "") == "yes")
        words = f"Saved as {shelf.folder.name(target)}."
        words += f" What was there is kept as {kept.name}." if kept else ""
    return shelf.page("bench.html", request, **{**_all(desk, looker, field_text(form, "part", "")), "said": words})


def _all(desk: Desk, looker: Looker, selected: str) -> dict[str, Any]:
    edits = desk.edits
    bench = looker.look(edits, selected)
    parts = looker.part_rows(bench)
    chosen = next((row for row in parts if row.part.name == selected), None)
    return {
        "desk": desk, "bench": bench, "parts": parts, "chosen": chosen, "sources": _SOURCES, "said": "",
        "companions": companions(bench.sheet, selected) if chosen else [],
        "join": join,
    }


def _assumed(sheet: Sheet) -> list[dict[str, Any]]:
    """Single numbers that were filled in, with the unit in which they are typed."""
    data, found = sheet.model_dump(by_alias=True), []
    for key in sheet.assumed:
        held: Any = data
        for step in split(key):
            if isinstance(held, dict):
                held = held.get(step)
            elif isinstance(held, list | tuple):
                held = next((e for e in held if isinstance(e, dict) and e.get("name") == step), None)
        if isinstance(held, int | float) and not isinstance(held, bool):
            found.append({"key": key, "value": f"{held:g}", "unit": unit_of(key),
                          "id": "".join(c if c.isalnum() else "-" for c in key)})
    return found


def _selected(request: Request, desk: Desk) -> str:
    asked = request.query_params.get("part", "")
    names = [one.name for one in desk.opened.parts]
    default = next((name for name in names if "battery" in name.lower() and "tray" not in name.lower()), "")
    return asked or default


ROUTES = [
    Route("/truck", screen),
    Route("/truck/part", part),
    Route("/truck/revision", revision),
    Route("/truck/known", known),
    Route("/truck/move", move, methods=["POST"]),
    Route("/truck/place", place, methods=["POST"]),
    Route("/truck/value", value, methods=["POST"]),
    Route("/truck/weight", weight, methods=["POST"]),
    Route("/truck/history", history, methods=["POST"]),
    Route("/truck/save", save, methods=["POST"]),
]
