"""Who may talk to the page: the token in every address, the Host and Origin of the request, how much it may send."""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.responses import PlainTextResponse

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]

MOST_FORM, MOST_UPLOAD = 256 * 1024, 64 * 1024 * 1024
"""Bytes of a form, and of a request that brings a file."""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
DOCUMENT_POLICY = "sandbox allow-scripts allow-downloads allow-popups"
"""Of a finished document, such as a report: it brings its own policy and must not reach this server's pages."""
HEADERS = {
    "referrer-policy": "same-origin",  # without any, browsers send forms with Origin: null
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class TooMuchError(Exception):
    """A request that sends more than it may."""


class Guard:
    """Lets through what comes from a page that this server made, and strips the token off its address.

    The token stands in the path and not in a cookie: browsers send a cookie to every port of a host, so another
    server on this machine would be told it.
    """

    def __init__(self, app: Any, token: str, hosts: frozenset[str]) -> None:
        """Guard an application.

        :param hosts: Host headers (``name:port``) under which the server is asked.
        """
        self._app, self._token, self._hosts = app, token, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        refused = self._refused(scope)
        if refused is not None:
            await PlainTextResponse(refused[1] + "\n", refused[0], HEADERS)(scope, receive, send)
            return
        inner = {**scope, "root_path": f"/{self._token}"}
        most = left = _allowance(scope)

        async def counted() -> MutableMapping[str, Any]:
            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if left < 0:
                raise TooMuchError(_too_much(most))
            return message

        async def dressed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                own = {name.lower() for name, _ in message.get("headers", [])}
                extra = {**HEADERS, "content-security-policy": POLICY}
                message["headers"] = [
                    *message.get("headers", []),
                    *((k.encode(), v.encode()) for k, v in extra.items() if k.encode() not in own),
                ]
            await send(message)

        await self._app(inner, counted, dressed)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        if scope["type"] != "http":
            return 403, "Nothing but pages here."
        if headers.get("host", "") not in self._hosts:
            return 403, "This server answers under its own address only."
        first = scope["path"].lstrip("/").partition("/")[0]
        if not hmac.compare_digest(first.encode(), self._token.encode()):
            return 403, ("This address does not belong to the page that is running. Use the one that cragbench page "
                         "printed when it was started; each start has a new one.")
        origin = headers.get("origin")
        if origin is not None and origin not in {f"http://{host}" for host in self._hosts}:
            return 403, "A page from elsewhere may not ask this."
        if scope["method"] not in ("GET", "HEAD") and origin is None and \
                headers.get("sec-fetch-site", "none") != "same-origin":
            return 403, "A change must come from the page itself."
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > _allowance(scope):
            return 413, _too_much(_allowance(scope))
        return None


def _too_much(most: int) -> str:
    return f"More than {most // 1024} kB are not taken; nothing was kept."


def _allowance(scope: Scope) -> int:
    kinds = [value for name, value in scope["headers"] if name.lower() == b"content-type"]
    return MOST_UPLOAD if kinds and kinds[0].startswith(b"multipart/form-data") else MOST_FORM
