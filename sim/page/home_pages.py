"""The first screen: which truck is on the bench."""

from __future__ import annotations

from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from sim.errors import SimError
from sim.page.shelf import shelf_of

EXAMPLES = (("gundi", "1/24, straight axles"), ("dassie", "1/18"), ("takin", "1/10"))


def home(request: Request) -> Response:
    """List the sheets of the folder."""
    from models.answers import QUESTIONS

    shelf = shelf_of(request)
    return shelf.page("home.html", request, here="home", sheets=shelf.folder.files("sheet"), examples=EXAMPLES,
                      questions=QUESTIONS)


async def example(request: Request) -> Response:
    """Copy an invented truck with its changes into the folder and open it."""
    form = await request.form()
    return await run_in_threadpool(_example, request, str(form.get("which", "")))


def _example(request: Request, which: str) -> Response:
    from models.scenario import DATA, builds, changes

    if which not in [key for key, _ in EXAMPLES]:
        raise SimError("there is no such invented truck", field="which", value=which, remedy="Choose one shown")
    shelf = shelf_of(request)
    for source in [*(file for file in builds() if file.stem == which), *changes(which),
                   *(DATA / "readings").glob(f"{which}.toml")]:
        target = shelf.folder.root / source.relative_to(DATA)
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(source.read_bytes())
    return RedirectResponse(f"{request.scope['root_path']}/truck?sheet={which}.toml", 303)


async def start(request: Request) -> Response:
    """Make a first sheet from the answers to the questions of ``cragbench start``."""
    form = await request.form()
    given = {key: str(value).strip() for key, value in form.items() if isinstance(value, str) and str(value).strip()}
    return await run_in_threadpool(_start, request, given)


def _start(request: Request, given: dict[str, str]) -> Response:
    from models.answers import answers_of
    from models.start import start as work_out
    from models.start_text import text_of

    shelf = shelf_of(request)
    name = given.pop("name", "")
    if not name:
        raise SimError("the truck needs a name", field="name", remedy="Its file is named after it")
    text = text_of(work_out(answers_of(name, given)))
    file = shelf.folder.free_name(name, ".toml")
    with shelf.folder.path(file, ".toml").open("x", encoding="utf-8") as out:
        out.write(text)
    return RedirectResponse(f"{request.scope['root_path']}/truck?sheet={quote(file)}", 303)


ROUTES = [Route("/", home), Route("/example", example, methods=["POST"]),
          Route("/start", start, methods=["POST"])]
