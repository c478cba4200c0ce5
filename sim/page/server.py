"""The application and the server that runs it: on this machine alone, unless somebody asks for more."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from sim.errors import SimError
from sim.page.guard import Guard, TooMuchError
from sim.page.shelf import Shelf

LOOPBACK = "127.0.0.1"
TOKEN_BYTES = 24


@dataclass(frozen=True)
class Address:
    """Where the page is."""

    host: str
    port: int
    token: str

    @property
    def link(self) -> str:
        """What to type into a browser."""
        return f"http://{self.host}:{self.port}/{self.token}/"

    @property
    def hosts(self) -> frozenset[str]:
        """Host headers that are right."""
        names = {self.host, *((LOOPBACK, "localhost") if self.host == LOOPBACK else ())}
        return frozenset(f"{name}:{self.port}" for name in names)


def application(folder: Path, address: Address) -> Guard:
    """Put the application together; nothing is computed before the first page is asked for.

    :raises SimError: The folder cannot be used.
    """
    from sim.page import answer_pages, ground_pages, home_pages, log_pages, question_pages, scale_pages, truck_pages

    shelf = Shelf(folder, address.link)
    pages = [*home_pages.ROUTES, *truck_pages.ROUTES, *question_pages.ROUTES, *answer_pages.ROUTES, *log_pages.ROUTES,
             *ground_pages.ROUTES, *scale_pages.ROUTES]
    static = StaticFiles(directory=str(files("sim.page").joinpath("static")))
    app = Starlette(
        routes=[*pages, Mount("/static", static)],
        exception_handlers={HTTPException: _missing, TooMuchError: _too_much, ValueError: _mistake},
    )
    app.state.shelf = shelf
    return Guard(app, address.token, address.hosts)


def _mistake(request: Request, error: Exception) -> Response:
    """Answer a user's mistake with its message; anything else is a bug and stays one."""
    from models.errors import BuildSheetError
    from terrain.errors import TerrainError

    if not isinstance(error, BuildSheetError | TerrainError | SimError):
        raise error
    shelf: Shelf = request.app.state.shelf
    if request.headers.get("hx-request"):
        # A fragment that asked keeps what it shows; the message goes to the line that is read out.
        text = shelf.render("mistake.html", request, message=str(error))
        return HTMLResponse(text, 200, {"HX-Retarget": "#message", "HX-Reswap": "innerHTML", "HX-Reselect": ".alarm"})
    return HTMLResponse(shelf.render("mistake_page.html", request, message=str(error)), 422)


def _missing(request: Request, error: Exception) -> Response:
    shelf: Shelf = request.app.state.shelf
    status = error.status_code if isinstance(error, HTTPException) else 500
    return HTMLResponse(shelf.render("mistake_page.html", request, message="There is no such page."), status)


def _too_much(request: Request, error: Exception) -> Response:
    return PlainTextResponse(f"{error}\n", 413)


def bound(host: str, port: int) -> socket.socket:
    """Take a port; 0 takes any that is free.

    :raises SimError: It is taken, or the address is not one of this machine's.
    """
    if host in ("", "0.0.0.0"):
        raise SimError("stands for every address, and is none that a phone can ask for", field="host", value=host,
                       remedy="Name this machine's own address in your network, as 192.168.1.20")
    # Of the protocol by name: without it asyncio does not switch off that small pieces of an answer wait for each other
    # (40 ms on a loopback).
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError as error:
        taken.close()
        raise SimError(f"cannot be listened on: {error.strerror}", field="host", value=f"{host}:{port}",
                       remedy="Name an address of this machine and a port that is free") from error
    return taken


def new_address(host: str, taken: socket.socket) -> Address:
    """Return the address of a page on a port that was taken, with a token of its own."""
    return Address(host, int(taken.getsockname()[1]), secrets.token_urlsafe(TOKEN_BYTES))


def serve(folder: Path, address: Address, taken: socket.socket, ready: Callable[[], None]) -> None:
    """Serve until interrupted.

    :param ready: Called once the page can be asked for.
    :raises SimError: The folder cannot be used.
    """
    config = uvicorn.Config(application(folder, address), log_level="error", access_log=False, lifespan="off",
                            server_header=False, date_header=False, ws="none", timeout_graceful_shutdown=1)

    class _Server(uvicorn.Server):
        async def startup(self, sockets: Any = None) -> None:
            await super().startup(sockets)
            ready()

    _Server(config).run(sockets=[taken])
