"""What comes of a store or of a change to drill: report, replay, drilling sheet, forms, one picture to share."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from models.configuration import load_configuration
from models.defaults import resolve
from models.sheet import load_sheet
from sim.errors import SimError
from sim.page.guard import DOCUMENT_POLICY
from sim.page.shelf import Shelf, shelf_of

_TYPES = {".html": "text/html", ".csv": "text/csv", ".png": "image/png", ".svg": "image/svg+xml",
          ".pdf": "application/pdf", ".toml": "text/plain", ".sqlite": "application/octet-stream",
          ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}
FORMS = (("set-up-sheet", "Set-up sheet"), ("weighing-form", "Weighing form"), ("run-log", "Run log"))
PAPERS = ("a4", "letter")


def screen(request: Request) -> Response:
    """Show everything that can be taken away."""
    from sim.page.findings import findings
    from sim.page.question_pages import words_of

    shelf = shelf_of(request)
    stores = shelf.folder.files("store")
    name = request.query_params.get("store", stores[0].name if stores else "")
    shown = findings(shelf.folder.existing(name, ".sqlite")) if name else None
    drilled = [{"sheet": one.name, "change": change.name, "title": f"{one.title}: {change.title}"}
               for one in shelf.folder.files("sheet") for change in shelf.folder.files("change")
               if change.scale in (None, one.scale) and _drills(shelf, one.name, change.name)]
    return shelf.page("answer.html", request, here="answer", stores=stores, store=name, findings=shown,
                      words=words_of(shelf, name) if name else (), drilled=drilled,
                      sheets=shelf.folder.files("sheet"), forms=FORMS, papers=PAPERS)


def report(request: Request) -> Response:
    """Show the report of a store."""
    shelf = shelf_of(request)
    page = _reported(shelf.folder.existing(request.query_params.get("store", ""), ".sqlite"))
    there = "#replay" if request.query_params.get("at") == "replay" else ""
    return RedirectResponse(f"{request.scope['root_path']}/file/{shelf.folder.name(page)}{there}", 303)


def share(request: Request) -> Response:
    """Give the one picture that says it, for a post: the report's own, wide or square."""
    from sim.chart.share import SIZES

    asked = request.query_params
    store, shape = shelf_of(request).folder.existing(asked.get("store", ""), ".sqlite"), asked.get("shape", "wide")
    if shape not in SIZES:
        raise SimError("no such shape", field="shape", value=shape, remedy=f"Choose one of: {', '.join(SIZES)}")
    page = _reported(store)
    picture = page.with_name(f"{page.stem}-data") / f"share-{shape}.png"
    if not picture.exists():
        raise SimError("holds no trial to show yet", file=store, remedy="Ask something first")
    return _data(picture.read_bytes(), ".png", f"{store.stem}-{shape}.png")


def _reported(store: Path) -> Path:
    """The report of a store, written anew if the store is newer."""
    from sim.report.page import write_report

    page = store.with_suffix(".html")
    if not page.exists() or page.stat().st_mtime < store.stat().st_mtime:
        write_report(store, page)
    return page


def file(request: Request) -> Response:
    """Give a file of the folder."""
    path = shelf_of(request).folder.existing(request.path_params["name"])
    suffix = path.suffix.lower()
    if suffix not in _TYPES:
        raise SimError("is not a file for a browser", field="file", value=path.name, remedy="Open it in the folder")
    headers = {"content-security-policy": DOCUMENT_POLICY}
    if suffix in (".sqlite", ".csv", ".toml"):
        headers["content-disposition"] = "attachment"
    return FileResponse(path, media_type=_TYPES[suffix], headers=headers)


def drilling(request: Request) -> Response:
    """Show what is to be drilled, with its faults and what to mind, before the sheet."""
    from sim.decision.drilling import CAUTIONS

    shelf = shelf_of(request)
    sheet, change = request.query_params.get("sheet", ""), request.query_params.get("change", "")
    made = _template(shelf, sheet, change)
    return shelf.page("drilling.html", request, here="answer", made=made, cautions=CAUTIONS, papers=PAPERS,
                      query={"sheet": sheet, "change": change})


def drilling_pdf(request: Request) -> Response:
    """Draw the drilling sheet at true scale."""
    from sim.chart import style
    from sim.chart.drilling import drilling as draw

    asked = request.query_params
    made = _template(shelf_of(request), asked.get("sheet", ""), asked.get("change", ""))
    paper = asked.get("paper", "a4")
    with tempfile.TemporaryDirectory() as folder:
        files = style.save(draw(made, paper), Path(folder) / f"drilling-{paper}", ["pdf"])
        return _data(files[0].read_bytes(), ".pdf", f"drilling-{paper}.pdf")


def form(request: Request) -> Response:
    """Draw one of the forms, of a truck if there is one."""
    from models.massprops import truck_properties, wheel_loads
    from sim.chart import PAPERS as SIZES
    from sim.chart.forms import Units, run_log, setup_sheet, weighing_form
    from sim.chart.sheets_pdf import save_page

    asked = request.query_params
    name, paper = asked.get("name", ""), asked.get("paper", "a4")
    if name not in [key for key, _ in FORMS] or paper not in SIZES:
        raise SimError("there is no such form", field="form", value=name, remedy="Choose one that is shown")
    sheet = asked.get("sheet", "")
    truck = load_configuration(shelf_of(request).folder.existing(sheet, ".toml")).sheet if sheet else None
    whole = None if truck is None else truck_properties(truck)
    loads = None if truck is None or whole is None else wheel_loads(truck, whole)
    units = Units(False)
    made = {"set-up-sheet": lambda: setup_sheet(paper, truck, whole, loads, units),
            "weighing-form": lambda: weighing_form(paper, truck, units),
            "run-log": lambda: run_log(paper, truck, units)}[name]()
    with tempfile.TemporaryDirectory() as folder:
        written = save_page(made, Path(folder) / f"{name}-{paper}.pdf")
        return _data(written.read_bytes(), ".pdf", written.name)


def _template(shelf: Shelf, sheet: str, change: str) -> Any:
    """The drilling template of a change, or of what is on the desk."""
    from models.change import load_change
    from models.edit import apply
    from sim.decision.drilling import template

    if change:
        before = load_sheet(shelf.folder.existing(sheet, ".toml"))
        one = load_change(shelf.folder.existing(change, ".toml"))
        return template(before, apply(before, [one]), one.name)
    desk, _ = shelf.desk(sheet)
    return template(desk.opened, resolve(desk.sheet()), f"{desk.opened.name} as on the page")


def _drills(shelf: Shelf, sheet: str, change: str) -> bool:
    """Whether a change moves or adds a part with holes; a file that cannot be used is left out."""
    from models.errors import BuildSheetError

    try:
        _template(shelf, sheet, change)
    except (BuildSheetError, SimError):
        return False
    return True


def _data(data: bytes, suffix: str, name: str) -> Response:
    headers = {"content-disposition": f'inline; filename="{name}"'}
    return Response(data, media_type=_TYPES[suffix], headers=headers)


ROUTES = [
    Route("/answer", screen),
    Route("/answer/report", report),
    Route("/answer/share.png", share),
    Route("/answer/drilling", drilling),
    Route("/answer/drilling.pdf", drilling_pdf),
    Route("/answer/form.pdf", form),
    Route("/file/{name:path}", file),
]
