"""A page that is really served, in a process of its own, and a plain client for it."""

from __future__ import annotations

import http.client
import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

ROOT = Path(__file__).resolve().parent.parent


@dataclass
class Served:
    """A running page."""

    process: subprocess.Popen[str]
    link: str

    @property
    def place(self) -> tuple[str, int, str]:
        """Host, port and path of the link."""
        host, _, path = self.link.removeprefix("http://").partition("/")
        name, _, port = host.partition(":")
        return name, int(port), "/" + path.rstrip("/")

    def ask(
        self, path: str, form: Mapping[str, str] | bytes | None = None, *, token: str | None = None,
        method: str | None = None, headers: Mapping[str, str | None] | None = None,
    ) -> tuple[int, dict[str, str], str]:
        """Status, headers and text; a form is sent as the page itself would."""
        name, port, root = self.place
        root = root if token is None else f"/{token}"
        sent: dict[str, str | None] = {"Host": f"{name}:{port}"}
        body: bytes | None = None
        if form is not None:
            body = form if isinstance(form, bytes) else urlencode(form).encode()
            sent |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"http://{name}:{port}"}
        sent |= dict(headers or {})
        connection = http.client.HTTPConnection(name, port, timeout=300)  # a report takes its time on a busy machine
        try:
            connection.putrequest(method or ("GET" if form is None else "POST"), root + path, skip_host=True)
            for key, value in sent.items():
                if value is not None:
                    connection.putheader(key, value)
            if body is not None:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            answer = connection.getresponse()
            text = answer.read().decode("utf-8", "replace")
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, text
        finally:
            connection.close()

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.process.wait()


@contextmanager
def served(folder: Path, *options: str, environment: Mapping[str, str] | None = None) -> Iterator[Served]:
    """Start ``cragbench page`` and wait until it says where it is."""
    command = [sys.executable, "-m", "sim.cli.main", "page", str(folder), "--no-browser", *options]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **(environment or {})}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment,
                          cwd=ROOT) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert line.startswith("The bench is at "), line
            yield Served(process, line.split()[-1])
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGINT)
                try:
                    process.wait(10)
                except subprocess.TimeoutExpired:
                    process.kill()
