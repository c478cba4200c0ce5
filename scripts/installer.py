"""Run pip so that a person can watch it, and turn its failures into remedies."""

from __future__ import annotations

import os
import queue
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

NO_NETWORK = (
    "name resolution",
    "name or service not known",
    "nodename nor servname",
    "getaddrinfo failed",
    "failed to establish a new connection",
    "newconnectionerror",
    "network is unreachable",
    "no route to host",
    "connection refused",
    "connection reset",
    "connecttimeouterror",
    "read timed out",
    "cannot connect to proxy",
    "proxyerror",
)
CERTIFICATE = ("certificate verify failed", "certificate_verify_failed", "sslerror")
NO_SPACE = ("no space left on device", "errno 28", "disk quota exceeded", "not enough space on the disk")
NO_PERMISSION = ("permission denied", "errno 13", "read-only file system", "access is denied")
NO_COMPILER = (
    "failed building wheel for pybullet",
    "microsoft visual c++ 14",
    "command 'gcc' failed",
    "command 'g++' failed",
    "command 'cc' failed",
    "command 'clang' failed",
    "x86_64-linux-gnu-gcc",
    "python.h: no such file",
    "unable to execute",
)
WRONG_FILE = ("do not match the hashes",)
NO_VERSION = ("no matching distribution found", "resolutionimpossible", "conflicting dependencies")

COMPILER_REMEDY = (
    "PyBullet has to be compiled on this computer, and that did not work or no C++ compiler was found.\n"
    "Remedy: use Python 3.11 on 64-bit x86 Linux, for which it comes ready-made, or install a C++ compiler and the\n"
    "Python headers (Debian and Ubuntu: sudo apt install g++ python3-dev; Fedora: sudo dnf install gcc-c++\n"
    "python3-devel; macOS: xcode-select --install; Windows: the C++ build tools), then run the same command again."
)


class InstallationError(Exception):
    """An installation that cannot go on; the text says why and what to do."""


def remedy(log: str) -> str:
    """Return what went wrong and what to do about it, judged by pip's own words in ``log``."""
    text = log.lower()

    def says(phrases: tuple[str, ...]) -> bool:
        return any(phrase in text for phrase in phrases)

    if says(NO_SPACE):
        return f"The disk is full.\nRemedy: free about {ROOM_WITH_EXTRAS_MB} MB, then run the same command again."
    if says(WRONG_FILE):
        return (
            "A downloaded file is not the one that was tested: its hash differs.\n"
            "Remedy: run the same command again; if it stays so, do not install it, and check your network and proxy."
        )
    if says(CERTIFICATE):
        return (
            "The package index could not be trusted: its certificate was not accepted.\n"
            "Remedy: check this computer's date; behind a company proxy, set PIP_CERT to the proxy's certificate file."
        )
    if says(NO_NETWORK):
        return (
            "The package index cannot be reached.\n"
            "Remedy: check the network connection (and the proxy settings), then run the same command again; what was\n"
            "already downloaded is kept."
        )
    if says(NO_COMPILER):
        return COMPILER_REMEDY
    if says(NO_PERMISSION):
        return (
            "A file could not be written.\n"
            "Remedy: put the project in a folder that belongs to you and run the same command there, without sudo."
        )
    if says(NO_VERSION):
        return (
            "No version of a library fits this Python and this computer.\n"
            "Remedy: use Python 3.11 on 64-bit x86 Linux, where the pinned versions were tested together."
        )
    return "pip stopped with an error that is new to this script; the log has its words."


def comes_ready_made(version: tuple[int, int], implementation: str, system: str, machine: str, libc: str) -> bool:
    """Tell whether PyBullet 3.2.7 has a binary wheel for such a computer; elsewhere pip compiles it."""
    return (
        version in ((3, 10), (3, 11))
        and implementation == "cpython"
        and system == "Linux"
        and machine.lower() in ("x86_64", "amd64")
        and libc == "glibc"
    )


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
        raise InstallationError(
            f"{folder} has {free:.0f} MB free; the libraries need about {room_mb:.0f} MB.\n"
            "Remedy: free some space, then run the same command again."
        )


def package_in(line: str) -> tuple[str, str] | None:
    """Return (``'numpy 2.4.6'``, ``'16.5 MB'``) from pip's line about a download, else None."""
    match = re.match(
        r"\s*(?:Downloading|Using cached) (?:\S*/)?(\S+?)-(\d[^-\s]*?)(?:-\S*|\.tar\.gz) \(([^)]+)\)", line
    )
    if not match or ".metadata" in line:
        return None
    return f"{match[1].replace('_', '-')} {match[2]}", match[3]


def stage_in(line: str) -> str | None:
    """Return a word on what pip has begun to do, read from one of its lines, else None."""
    if line.startswith("Installing collected packages:"):
        count = line.count(",") + 1
        return f"unpacking {count} libraries" if count > 1 else None
    match = re.match(r"\s*Building wheel for (\S+)", line)
    if match and match[1] != "cragbench":
        return f"compiling {match[1]} (this takes minutes)"
    return None


class Ticker:
    """One line that shows the work is alive; on anything but a terminal, a plain line per stage and large download."""

    def __init__(self, out: IO[str]) -> None:
        self._out = out
        self._live = out.isatty()
        self._start = time.monotonic()
        self._doing = "asking the package index"
        self._done = 0

    def read(self, line: str) -> None:
        """Take in one line of pip's output."""
        package, stage = package_in(line), stage_in(line)
        if package:
            self._done += 1
            self._doing = f"{package[0]} ({package[1]})"
            if not self._live and "MB" in package[1] and float(package[1].split()[0]) >= 10:
                print(f"  {self._doing}", file=self._out, flush=True)
        elif stage and stage != self._doing:
            self._doing = stage
            if not self._live:
                print(f"  {stage}", file=self._out, flush=True)

    def draw(self) -> None:
        """Redraw the line (a terminal only)."""
        if self._live:
            seconds = time.monotonic() - self._start
            text = f"  {seconds:3.0f} s  {self._done} fetched, now {self._doing}"
            self._out.write("\r\033[K" + text[: shutil.get_terminal_size().columns - 1])
            self._out.flush()

    def close(self) -> None:
        """Clear the line."""
        if self._live:
            self._out.write("\r\033[K")
            self._out.flush()


def pip(python: Path, arguments: list[str], log: Path, folder: Path) -> None:
    """Run pip with progress; its full output goes to ``log``.

    :raises InstallationError: pip failed; the text says why and what to do.
    """
    command = [str(python), "-m", "pip", "--disable-pip-version-check", "--no-input", *arguments]
    # A user's own settings must not lead the packages elsewhere.
    settings = {
        k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME", "PIP_TARGET", "PIP_PREFIX")
    }
    settings.update(PIP_USER="0", PYTHONUNBUFFERED="1")
    process = subprocess.Popen(
        command, cwd=folder, env=settings, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8",
        errors="replace",
    )  # fmt: skip
    assert process.stdout is not None
    lines: queue.Queue[str | None] = queue.Queue()
    threading.Thread(target=_pump, args=(process.stdout, lines), daemon=True).start()
    ticker = Ticker(sys.stdout)
    heard: list[str] = []
    try:
        with log.open("a", encoding="utf-8") as file:
            while (line := _next(lines, ticker)) is not None:
                file.write(line)
                heard.append(line)
                ticker.read(line)
        code = process.wait()
    except BaseException:
        process.terminate()
        process.wait()
        raise
    finally:
        ticker.close()
    if code != 0:
        raise InstallationError(f"{remedy(''.join(heard))}\nLog: {log}")


def _pump(stream: IO[str], lines: queue.Queue[str | None]) -> None:
    with stream:
        for line in stream:
            lines.put(line)
    lines.put(None)


def _next(lines: queue.Queue[str | None], ticker: Ticker) -> str | None:
    while True:
        ticker.draw()
        try:
            return lines.get(timeout=0.2)
        except queue.Empty:
            continue
