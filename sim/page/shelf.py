"""What all pages share: the folder, the open desks, the templates."""

from __future__ import annotations

import threading
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse

from models.plain_text import without_controls
from sim.page.folder import Folder

if TYPE_CHECKING:
    from sim.page.bench_view import Looker
    from sim.page.desk import Desk


class Shelf:
    """One per server."""

    def __init__(self, folder: Path, link: str) -> None:
        """Open a folder.

        :param link: Address of the page, with its token.
        """
        self.folder = Folder(folder)
        self.link = link
        self._desks: dict[str, tuple[Desk, Looker]] = {}
        self._lock = threading.Lock()
        self._templates = jinja2.Environment(
            loader=jinja2.FileSystemLoader(str(files("sim.page").joinpath("templates"))),
            autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        )

    def desk(self, name: str) -> tuple[Desk, Looker]:
        """Return the desk of a sheet and what looks at it; all windows share one.

        :raises BuildSheetError, SimError: The sheet cannot be read.
        """
        from sim.page.bench_view import Looker
        from sim.page.desk import Desk

        with self._lock:
            if name not in self._desks:
                desk = Desk(self.folder, name)
                self._desks[name] = (desk, Looker(desk))
            return self._desks[name]

    def render(self, template: str, request: Request, **values: Any) -> str:
        """Fill a template; everything from users is escaped."""
        base = {"root": request.scope.get("root_path", ""), "folder": self.folder.root.name, "here": ""}
        return without_controls(self._templates.get_template(template).render({**base, **values}))

    def page(self, template: str, request: Request, **values: Any) -> HTMLResponse:
        """Answer with a filled template."""
        return HTMLResponse(self.render(template, request, **values))


def shelf_of(request: Request) -> Shelf:
    """Return the shelf of the server that was asked."""
    shelf: Shelf = request.app.state.shelf
    return shelf
