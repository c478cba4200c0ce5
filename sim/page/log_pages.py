"""The rock log: tries entered at the rock, on a phone's width, into a file that ``cragbench log add`` reads."""

from __future__ import annotations

import datetime
import io
import threading
from pathlib import Path
from typing import Any

import tomlkit
from markupsafe import Markup
from PIL import Image, ImageOps, UnidentifiedImageError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from sim.errors import SimError
from sim.page.shelf import Shelf, shelf_of
from sim.reality.attempt_file import REASONS
from sim.reality.attempt_log import read_log
from sim.trial import ground_cache

PHOTO_PIXELS, MOST_PIXELS = 1600, 60_000_000
FOLDER = "log"
STORE = f"{FOLDER}/rock.sqlite"
_LOCK = threading.Lock()


def screen(request: Request) -> Response:
    """Show the day's log and the fields for the next try."""
    shelf = shelf_of(request)
    file = _today(shelf)
    day = _read(file)
    configurations = [str(one["name"]) for one in day.get("configuration", [])]
    lines = [str(one["name"]) for one in day.get("line", [])]
    tries = [_shown(one) for one in day.get("attempt", [])][::-1]
    return shelf.page("log.html", request, here="log", file=shelf.folder.name(file), lines=lines,
                      configurations=configurations, tries=tries, outcomes=REASONS,
                      sheets=shelf.folder.files("sheet"), changes=shelf.folder.files("change"),
                      last=tries[0] if tries else _shown({}), code=_code(shelf.link),
                      stored=request.query_params.get("stored") == "yes",
                      store=STORE if (shelf.folder.root / STORE).exists() else "", local="127.0.0.1" in shelf.link)


def _shown(entry: Any) -> dict[str, str]:
    """An entry as the page lists it, with what it leaves out as empty text."""
    said = {key: str(entry.get(key, "")) for key in ("line", "configuration", "outcome", "reason", "note")}
    return {**said, "outcome": said["outcome"] or ", ".join(str(one) for one in entry.get("tries", ()))}


async def line(request: Request) -> Response:
    """Describe a line on the rock."""
    form = await request.form()
    return await run_in_threadpool(_line, request, form)


def _line(request: Request, form: FormData) -> Response:
    from sim.page.typed import number

    family, level = _text(form, "family"), number(_text(form, "level"), "level")
    obstacle = f"{family}:{level:g}"
    ground_cache.split(obstacle)
    entry = {"name": _text(form, "name"), "obstacle": obstacle, "surface": _text(form, "surface")}
    return _kept(request, "line", entry)


async def truck(request: Request) -> Response:
    """Say which truck is driven."""
    form = await request.form()
    return await run_in_threadpool(_truck, request, form)


def _truck(request: Request, form: FormData) -> Response:
    shelf = shelf_of(request)
    build = _text(form, "build")
    shelf.folder.existing(build, ".toml")
    changes = [str(one) for one in form.getlist("change") if one]
    for one in changes:
        shelf.folder.existing(one, ".toml")
    entry: dict[str, Any] = {"name": _text(form, "name"), "build": f"../{build}"}
    if changes:
        entry["changes"] = [f"../{one}" for one in changes]
    return _kept(request, "configuration", entry)


async def attempt(request: Request) -> Response:
    """Enter a try, with a photo if there is one."""
    form = await request.form(max_files=1, max_part_size=64 * 1024)
    photo = form.get("photo")
    data = await photo.read() if isinstance(photo, UploadFile) and photo.filename else b""
    return await run_in_threadpool(_attempt, request, form, data)


def _attempt(request: Request, form: FormData, photo: bytes) -> Response:
    shelf = shelf_of(request)
    outcome, reason, note = _text(form, "outcome"), _text(form, "reason", ""), _text(form, "note", "")
    # A reason that was left over from another outcome is not one of this.
    if outcome not in REASONS or any(reason in codes for key, codes in REASONS.items() if key != outcome):
        reason = ""
    entry: dict[str, Any] = {"line": _text(form, "line"), "configuration": _text(form, "configuration"),
                             "outcome": outcome}
    if reason:
        entry["reason"] = reason
    if photo:
        note = f"{note} photo: {_photo(shelf, photo)}".strip()
    if note:
        entry["note"] = note
    return _kept(request, "attempt", entry)


def _photo(shelf: Shelf, data: bytes) -> str:
    """Keep a photo: read as a picture within limits and written anew, without the place and time a phone puts in.

    :raises SimError: It is none, or too large.
    """
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise SimError("has too many pixels", field="photo", value=f"{opened.width} x {opened.height}",
                               remedy=f"Send one of at most {MOST_PIXELS // 1_000_000} million")
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        if isinstance(error, SimError):
            raise
        raise SimError("is not a picture", field="photo", remedy="Send a JPEG, PNG or WebP file") from error
    picture.thumbnail((PHOTO_PIXELS, PHOTO_PIXELS))
    name = shelf.folder.free_name(f"{datetime.datetime.now():%Y-%m-%d %H%M%S}", ".jpg", under=f"{FOLDER}/photos")
    path = shelf.folder.path(name, ".jpg")
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.save(path, "JPEG", quality=85)
    return Path(name).relative_to(FOLDER).as_posix()


def _kept(request: Request, table: str, entry: dict[str, Any]) -> Response:
    """Put an entry behind the others of the day's file, unless the file would then be wrong."""
    shelf = shelf_of(request)
    with _LOCK:
        file = _today(shelf)
        document = _read(file)
        if not document:
            document.add(tomlkit.comment("Entered on the page, at the rock."))
            document.add("schema", tomlkit.item(1))
            document.add("date", tomlkit.item(datetime.date.today()))
            document.add("driver", tomlkit.item("me"))
        made = tomlkit.table()
        for key, value in entry.items():
            made[key] = value
        if table not in document:
            document.add(table, tomlkit.aot())
        document[table].append(made)
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_name(f".{file.stem}.part.toml")
        try:
            part.write_text(tomlkit.dumps(document), encoding="utf-8")
            if document.get("attempt"):
                read_log(part)
            else:
                _check_names(document, table)
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)
    return RedirectResponse(f"{request.scope['root_path']}/log", 303)


def _check_names(document: Any, table: str) -> None:
    names = [str(one["name"]) for one in document[table]]
    if len(set(names)) < len(names):
        raise SimError("there is one of this name already", field=table, value=names[-1], remedy="Give it another name")


async def store(request: Request) -> Response:
    """Put the day's tries into a store, where they meet the simulation."""
    return await run_in_threadpool(_store, request)


def _store(request: Request) -> Response:
    from sim.reality.attempt_log import add_attempts
    from sim.store.store import Store, StoredTruck
    from sim.trial.truck import load_truck

    shelf = shelf_of(request)
    file = _today(shelf)
    log = read_log(file)
    trucks = {one.name: load_truck(file.parent / one.build, [file.parent / change for change in one.changes],
                                   name=one.name) for one in log.trucks}
    with Store(shelf.folder.root / STORE, write=True) as kept:
        kept.add_configurations([StoredTruck(one.hash, one.name, one.facts) for one in trucks.values()])
        add_attempts(kept, log.attempts, {name: one.hash for name, one in trucks.items()})
    return RedirectResponse(f"{request.scope['root_path']}/log?stored=yes", 303)


def _today(shelf: Shelf) -> Path:
    return shelf.folder.path(f"{FOLDER}/{datetime.date.today():%Y-%m-%d}.toml", ".toml")


def _read(file: Path) -> Any:
    try:
        return tomlkit.parse(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return tomlkit.document()
    except (OSError, ValueError) as error:
        raise SimError(f"cannot be read: {error}", file=file.name, remedy="Correct it in a text editor") from error


def _code(link: str) -> Markup:
    """QR code of the log's address."""
    import segno

    out = io.BytesIO()
    segno.make(f"{link}log", error="m").save(out, kind="svg", xmldecl=False, svgns=True, scale=4, svgclass="qr",
                                             title="Address of this page", omitsize=True)
    return Markup(out.getvalue().decode("ascii"))


def _text(form: FormData, key: str, default: str | None = None) -> str:
    found = form.get(key, default)
    if not isinstance(found, str) or len(found) > 500 or (default is None and not found.strip()):
        raise SimError("is missing or too long", field=key, remedy="Fill in the field")
    return found.strip()


ROUTES = [
    Route("/log", screen),
    Route("/log/line", line, methods=["POST"]),
    Route("/log/truck", truck, methods=["POST"]),
    Route("/log/attempt", attempt, methods=["POST"]),
    Route("/log/store", store, methods=["POST"]),
]
