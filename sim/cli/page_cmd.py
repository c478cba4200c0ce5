"""``cragbench page``: the bench in a browser."""

from __future__ import annotations

import threading
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli.console import note, say

if TYPE_CHECKING:
    from sim.page.server import Address


def page(
    folder: Annotated[Path, typer.Argument(help="Folder with sheets, changes and results; made if it is not there.")]
    = Path("."),
    host: Annotated[str, typer.Option(help="Address of this machine that others in its network can reach, for the rock "
                                      "log on a phone. Left out, the page is for this machine alone.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Left out, any that is free.")] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Open the bench as a page: pull parts, see bias and angles, ask, drill, log. Works without a network.

    The page answers on this machine only, and only under the address that is printed, which is new at every start.
    """
    from sim.page.server import LOOPBACK, bound, new_address, serve

    taken = bound(host, port)
    address = new_address(host, taken)

    def ready() -> None:
        say(f"The bench is at {address.link}")
        say("Ctrl-C ends it. Runs that were started go on by themselves.")
        if host != LOOPBACK:
            _warn(address)
        if browser:
            threading.Thread(target=webbrowser.open, args=(address.link,), daemon=True).start()
        threading.Thread(target=_warm, daemon=True).start()

    serve(folder, address, taken, ready)


def _warm() -> None:
    """Load the truck's model while the browser starts."""


def _warn(address: Address) -> None:
    note(
        f"WARNING: anybody in the network of {address.host} who has this address can read and write the folder and "
        "start runs on this machine. The connection is not encrypted: whoever listens on the network can learn the "
        "address. Use it in your own network or on your phone's hotspot, and end it with Ctrl-C when you are back."
    )
    typer.echo(_code(f"{address.link}log"))


def _code(link: str) -> str:
    """QR code of half blocks, two rows of modules in a line of text."""
    import io

    import segno

    out = io.StringIO()
    segno.make(link, error="m").terminal(out, compact=True)
    return out.getvalue()
