"""Run pip so that a person can watch it, and turn its failures into remedies."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import IO

ROOM_MB = 1_500
"""Room for the environment as users need it; measured: 1,210 MB."""
ROOM_WITH_EXTRAS_MB = 2_700
"""Room for everything the tests need; measured: 2,200 MB."""
READY_MADE = {((3, minor), "cpython", "Linux", "x86_64", "glibc") for minor in (10, 11)}
"""Computers for which PyBullet 3.2.7 has a binary wheel; elsewhere pip compiles it."""

COMPILER_REMEDY = (
    "PyBullet has to be compiled on this computer, and that did not work or no C++ compiler was found.\n"
    "Remedy: use Python 3.11 on 64-bit x86 Linux, for which it comes ready-made, or install a C++ compiler and the\n"
    "Python headers (Debian and Ubuntu: sudo apt install g++ python3-dev; Fedora: sudo dnf install gcc-c++\n"
    "python3-devel; macOS: xcode-select --install; Windows: the C++ build tools), then run the same command again."
)
REMEDIES = (
    (r"no space left on device|errno 28|disk quota exceeded|not enough space on the disk",
     f"The disk is full.\nRemedy: free about {ROOM_WITH_EXTRAS_MB} MB, then run the same command again."),
    (r"do not match the hashes",
     "A downloaded file is not the one that was tested: its hash differs.\n"
     "Remedy: run the same command again; if it stays so, do not install it, and check your network and proxy."),
    (r"certificate.verify.failed|sslerror",
     "The package index could not be trusted: its certificate was not accepted.\n"
     "Remedy: check this computer's date; behind a company proxy, set PIP_CERT to the proxy's certificate file."),
    (r"name resolution|name or service not known|nodename nor servname|getaddrinfo failed|network is unreachable"
     r"|failed to establish a new connection|newconnectionerror|no route to host|connection refused|connection reset"
     r"|connecttimeouterror|read timed out|cannot connect to proxy|proxyerror",
     "The package index cannot be reached.\n"
     "Remedy: check the network connection (and the proxy settings), then run the same command again; what was\n"
     "already downloaded is kept."),
    (r"failed building wheel for pybullet|microsoft visual c\+\+ 14|command '(gcc|g\+\+|cc|clang)' failed"
     r"|x86_64-linux-gnu-gcc|python\.h: no such file|unable to execute",
     COMPILER_REMEDY),
    (r"permission denied|errno 13|read-only file system|access is denied",
     "A file could not be written.\n"
     "Remedy: put the project in a folder that belongs to you and run the same command there, without sudo."),
    (r"no matching distribution found|resolutionimpossible|conflicting dependencies",
     "No version of a library fits this Python and this computer.\n"
     "Remedy: use Python 3.11 on 64-bit x86 Linux, where the pinned versions were tested together."),
)  # fmt: skip
"""What pip says, in small letters, and what to tell: the first that fits is the cause, later ones may follow."""


class InstallationError(Exception):
    """An installation that cannot go on; the text says why and what to do."""


def remedy(log: str) -> str:
    """Return what went wrong and what to do about it, judged by pip's own words in ``log``."""
    told = (told for said, told in REMEDIES if re.search(said, log.lower()))
    return next(told, "pip stopped with an error that is new to this script; the log has its words.")


def compiler() -> str | None:
    """Return a C++ compiler that pip would find, or None. On Windows pip looks for itself: ``'unknown'``."""
    if os.name == "nt":
        return "unknown"
    named = os.environ.get("CXX", "").split()
    return next((found for name in [*named[:1], "c++", "g++", "clang++"] if (found := shutil.which(name))), None)


def check_disk(folder: Path, room_mb: float) -> None:
    """Raise InstallationError if there is less than ``room_mb`` for the libraries."""
    free = shutil.disk_usage(folder).free / 1e6
    if free < room_mb:
        raise InstallationError(f"{folder} has {free:.0f} MB free; the libraries need about {room_mb:.0f} MB.\n"
                                "Remedy: free some space, then run the same command again.")  # fmt: skip


def begun(line: str) -> str:
    """Return what pip says in this line that it has begun, ``'numpy 2.4.6 (16.5 MB)'`` for a download; else ``''``."""
    fetched = re.match(
        r"\s*(?:Downloading|Using cached) (?:\S*/)?(\S+?)-(\d[^-\s]*?)(?:-\S*|\.tar\.gz) (\([^)]+\))", line
    )
    if fetched and ".metadata" not in line:
        return f"{fetched[1].replace('_', '-')} {fetched[2]} {fetched[3]}"
    if line.startswith("Installing collected packages:") and "," in line:
        return f"unpacking {line.count(',') + 1} libraries"
    built = re.match(r"\s*Building wheel for (?!cragbench)(\S+)", line)
    return f"compiling {built[1]} (this takes minutes)" if built else ""


class Ticker:
    """One line that shows the work is alive; on anything but a terminal, a plain line per stage and large download."""

    def __init__(self, out: IO[str]) -> None:
        self._out, self._live, self._start = out, out.isatty(), time.monotonic()
        self._done, self._doing = 0, "asking the package index"

    def read(self, line: str) -> None:
        """Take in one line of pip's output."""
        words = begun(line)
        if words in ("", self._doing):
            return
        size = re.search(r"\(([\d.]+) (.B)\)", words)
        self._doing, self._done = words, self._done + bool(size)
        if not self._live and (not size or (size[2] == "MB" and float(size[1]) >= 10)):
            print(f"  {words}", file=self._out, flush=True)

    def draw(self) -> None:
        """Redraw the line (a terminal only)."""
        if self._live:
            text = f"  {time.monotonic() - self._start:3.0f} s  {self._done} fetched, now {self._doing}"
            print("\r\033[K" + text[: shutil.get_terminal_size().columns - 1], end="", file=self._out, flush=True)

    def close(self) -> None:
        """Clear the line."""
        if self._live:
            print("\r\033[K", end="", file=self._out, flush=True)


def pip(python: Path, arguments: list[str], log: Path, folder: Path) -> None:
    """Run pip with progress; its full output goes to ``log``.

    :raises InstallationError: pip failed; the text says why and what to do.
    """
    command = [str(python), "-m", "pip", "--disable-pip-version-check", "--no-input", *arguments]
    # A user's own settings must not lead the packages elsewhere.
    astray = ("PYTHONPATH", "PYTHONHOME", "PIP_TARGET", "PIP_PREFIX")
    settings = {k: v for k, v in os.environ.items() if k not in astray} | {"PIP_USER": "0", "PYTHONUNBUFFERED": "1"}
    ticker, over = Ticker(sys.stdout), threading.Event()
    heard: list[str] = []

    def beat() -> None:
        while not over.wait(0.2):
            ticker.draw()

    drawing = threading.Thread(target=beat, daemon=True)
    drawing.start()
    process = subprocess.Popen(command, cwd=folder, env=settings, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                               encoding="utf-8", errors="replace")  # fmt: skip
    try:
        with process, log.open("a", encoding="utf-8") as file:
            for line in process.stdout or ():
                file.write(line)
                heard.append(line)
                ticker.read(line)
    finally:
        process.terminate()
        over.set()
        drawing.join()
        ticker.close()
    if process.returncode != 0:
        raise InstallationError(f"{remedy(''.join(heard))}\nLog: {log}")
