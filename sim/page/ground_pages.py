"""The ground screen: one's own rocks, scanned or recorded, brought in as ``cragbench terrain import`` does."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any, BinaryIO

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from sim.errors import SimError
from sim.page.shelf import shelf_of
from sim.page.typed import number
from terrain.errors import TerrainError
from terrain.intake import UNITS, UP_AXES, Intake, lane_of, numbers_of

FOLDER = "ground"
MOST_FIELD = 64 * 1024


def screen(request: Request) -> Response:
    """Show the ground that is there, and what to fill in to bring in more."""
    return _shown(request, "", ())


def _shown(request: Request, name: str, told: tuple[str, ...]) -> Response:
    from terrain.importing import SUFFIXES

    shelf = shelf_of(request)
    pictures = {one.name for one in shelf.folder.files("picture")}
    grounds = [(one, {f"{one.name.removesuffix('.npz')}.png"} & pictures) for one in shelf.folder.files("ground")]
    return shelf.page("ground.html", request, here="ground", grounds=grounds, told=told, new=name, units=UNITS,
                      axes=UP_AXES, endings=SUFFIXES, sheets=shelf.folder.files("sheet"))


async def bring(request: Request) -> Response:
    """Bring in a file."""
    from terrain.importing import SUFFIXES

    form = await request.form(max_files=1, max_part_size=MOST_FIELD)
    sent = form.get("scan")
    if not isinstance(sent, UploadFile) or not sent.filename:
        raise SimError("no file was chosen", field="scan", remedy=f"Choose one of {' '.join(SUFFIXES)}")
    return await run_in_threadpool(_bring, request, form, sent.filename, sent.file)


def _bring(request: Request, form: FormData, given: str, data: BinaryIO) -> Response:
    from sim.chart.ground_import import bring_in, sized_by
    from terrain.importing import SUFFIXES

    shelf = shelf_of(request)
    intake, lane = _intake(form), lane_of("lane", _text(form, "lane"))
    yard, view = sized_by(shelf.folder.existing(_text(form, "sheet") or "", ".toml"))
    stem, suffix = Path(given).stem, Path(given).suffix.lower()
    name = _text(form, "name") or stem
    target = shelf.folder.path(shelf.folder.free_name(name, ".ground.npz", under=FOLDER), ".npz")
    target.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=shelf.folder.own()) as kept:
        plain = "".join(c if c.isalnum() or c in "-_ " else "-" for c in stem)[:80] or "scan"
        source = Path(kept) / f"{plain}{suffix if suffix in SUFFIXES else '.unknown'}"
        with source.open("xb") as out:
            shutil.copyfileobj(data, out)
        try:
            made = bring_in(source, target, intake, name=name, lane=lane, yard=yard, view=view)
        except TerrainError as fault:
            # By the name under which it was sent, not by where it lies for a moment.
            raise TerrainError(fault.what, file=given, field=fault.field, value=fault.value,
                               remedy=fault.remedy) from None
    return _shown(request, shelf.folder.name(made.file), made.sentences)


def _intake(form: FormData) -> Intake:
    """What the builder says about the file; what is left empty is as if not said."""
    def length(key: str) -> float | None:
        text = _text(form, key)
        return None if text is None else number(text, key)

    spacing = length("spacing_mm")
    values: dict[str, Any] = {
        "unit": _text(form, "unit"), "up": _text(form, "up"), "shrink": length("shrink"),
        "turn_deg": length("turn_deg"),
        "crop_mm": numbers_of("crop_mm", _text(form, "crop_mm"), 4), "pixel_mm": length("pixel_mm"),
        "relief_mm": numbers_of("relief_mm", _text(form, "relief_mm"), 2), "thin_mm": length("thin_mm"),
        "spacing": None if spacing is None else 1e-3 * spacing,
    }  # fmt: skip
    return Intake(**{key: value for key, value in values.items() if value is not None})


def _text(form: FormData, key: str) -> str | None:
    found = form.get(key, "")
    if not isinstance(found, str) or len(found) > 2000:
        raise SimError("is too long", field=key, remedy="Shorten it")
    return found.strip() or None


ROUTES = [Route("/ground", screen), Route("/ground/bring", bring, methods=["POST"])]
