"""The project's own virtual environment: made when missing, brought up to date when the project changed.

Only the standard library is used here: this is what runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import installer
import interpreter
from installer import InstallationError

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".venv"
CONSTRAINTS = ROOT / "scripts" / "constraints.txt"
TEST_CONSTRAINTS = ROOT / "scripts" / "constraints_test.txt"
MARKER = "cragbench.json"
"""Says that the environment is ours and what it holds; written last, so that a broken-off installation is redone."""


def fingerprint(files: Iterable[Path], place: Path) -> str:
    """Return a hash that changes with the content of ``files`` and the ``place`` that the environment points at."""
    parts = [str(place).encode(), *(hashlib.sha256(file.read_bytes()).digest() for file in files)]
    return hashlib.sha256(b"".join(parts)).hexdigest()


def missing(held: dict[str, object], wanted: frozenset[str], print_now: str) -> frozenset[str] | None:
    """Return the extras to install, or None when nothing is to be done.

    ``held`` is the marker's content, ``print_now`` the fingerprint of the project as it is. Extras once installed stay.
    """
    extras = held.get("extras")
    have = frozenset(map(str, extras)) if isinstance(extras, list) else frozenset()
    return None if held.get("fingerprint") == print_now and wanted <= have else wanted | have


def read_marker(home: Path) -> dict[str, object] | None:
    """Return what the marker says, ``{}`` if it is damaged, None where there is none."""
    try:
        content = json.loads((home / MARKER).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def write_marker(home: Path, content: dict[str, object]) -> None:
    """Write the marker in one move."""
    draft = home / (MARKER + ".new")
    draft.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    draft.replace(home / MARKER)


def tool(name: str, home: Path = HOME) -> Path:
    """Return the path of a program inside the environment."""
    return home / "Scripts" / f"{name}.exe" if os.name == "nt" else home / "bin" / name


def healthy(home: Path) -> bool:
    """Tell whether the environment runs, has pip and was made by this version of Python."""
    probe = f"import sys, pip; sys.exit(sys.version_info[:2] != {sys.version_info[:2]})"
    try:
        return subprocess.run([tool("python", home), "-c", probe], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def make(home: Path) -> None:
    """Make an empty environment at ``home``, in place of one of ours that no longer runs.

    :raises InstallationError: something else stands there, or Python could not make it.
    """
    if home.exists():
        if read_marker(home) is None:
            raise InstallationError(
                f"{home} is there, does not work with this Python and was not made by these scripts.\n"
                "Remedy: rename or delete it, then run the same command again."
            )
        print(f"Replacing {home}: it does not work with this Python.", flush=True)
        shutil.rmtree(home)
    print(f"Making a virtual environment in {home}.", flush=True)
    home.mkdir()
    write_marker(home, {})
    answer = subprocess.run([sys.executable, "-m", "venv", home], capture_output=True, text=True, check=False)
    if answer.returncode != 0:
        raise InstallationError(
            f"Python could not make a virtual environment:\n{(answer.stdout + answer.stderr).strip()}\n"
            "Remedy: on Debian and Ubuntu, sudo apt install python3-venv; then run the same command again."
        )


def ready_made() -> bool:
    """Tell whether PyBullet comes ready-made for this computer, as all other libraries do."""
    return (sys.version_info[:2], sys.implementation.name, platform.system(), platform.machine(),
            platform.libc_ver()[0]) in installer.READY_MADE  # fmt: skip


def check_compiler() -> None:
    """Say so if PyBullet will be compiled; raise InstallationError if that cannot work."""
    if ready_made():
        return
    if installer.compiler() is None:
        raise InstallationError(installer.COMPILER_REMEDY)
    print(f"PyBullet has no ready-made build for this Python ({platform.python_version()}) on {platform.system()} "
          f"{platform.machine()}: it will be compiled, which takes minutes.", flush=True)  # fmt: skip


def steps(extras: frozenset[str], hashed: bool) -> list[list[str]]:
    """What pip is told, call by call: the libraries, each file checked by its hash; then the project, fetching nothing.

    Where nothing was tested and other files fit (not ``hashed``), the versions alone are held.
    """
    if hashed:
        files = [CONSTRAINTS, *([TEST_CONSTRAINTS] if extras else [])]
        listed = [word for file in files for word in ("-r", str(file))]
        return [["--require-hashes", *listed], ["--no-deps", "--no-build-isolation", "-e", "."]]
    print("This is not the computer whose files have known hashes: only their versions are checked.", flush=True)
    lines = [line for file in (CONSTRAINTS, TEST_CONSTRAINTS) for line in file.read_text(encoding="utf-8").splitlines()]
    versions = HOME / "versions.txt"
    versions.write_text("".join(line.partition(" --hash")[0] + "\n" for line in lines), encoding="utf-8")
    return [["-c", str(versions), "-e", f".[{','.join(sorted(extras))}]" if extras else "."]]


def ensure(extras: Iterable[str] = ()) -> Path:
    """Return the environment's Python, installed and up to date with the project and these extras.

    :raises InstallationError: it could not be made; the text says why and what to do.
    """
    now = fingerprint([ROOT / "pyproject.toml", CONSTRAINTS, TEST_CONSTRAINTS], ROOT)
    to_install, runs, python = missing(read_marker(HOME) or {}, frozenset(extras), now), healthy(HOME), tool("python")
    if to_install is None and runs:
        return python
    to_install = frozenset(extras) if to_install is None else to_install
    if not runs:
        installer.check_disk(ROOT, installer.ROOM_WITH_EXTRAS_MB if to_install else installer.ROOM_MB)
        check_compiler()
        make(HOME)
    log = HOME / "install.log"
    log.unlink(missing_ok=True)
    print("Installing the libraries at the versions tested together (a few minutes the first time).", flush=True)
    for arguments in steps(to_install, hashed=ready_made() and sys.version_info[:2] == interpreter.TESTED):
        installer.pip(python, ["install", "--retries", "2", *arguments], log, ROOT)
    write_marker(HOME, {"fingerprint": now, "extras": sorted(to_install)})
    return python


def call(command: list[str], folder: Path | None = None) -> int:
    """Run a command with the terminal to itself and return its exit code.

    Ctrl-C reaches the command itself; this process waits until it has put its things away.
    """
    settings = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
    process = subprocess.Popen(command, cwd=folder, env=settings)
    signal.signal(signal.SIGTERM, lambda *_: process.terminate())
    while True:
        try:
            code = process.wait()
        except KeyboardInterrupt:
            continue
        return code if code >= 0 else 128 - code


def guarded(job: Callable[[], int]) -> int:
    """Return the job's exit code; an installation that fails or is stopped ends in a sentence, not in a traceback."""
    try:
        return job()
    except InstallationError as error:
        print(error, file=sys.stderr)
    except PermissionError as error:
        print(f"{error.filename} cannot be written.\n{installer.remedy('permission denied')}", file=sys.stderr)
    except OSError as error:
        print(f"{error}\n{installer.remedy(str(error))}", file=sys.stderr)
    except KeyboardInterrupt:
        print("\nStopped. Nothing is lost: the same command goes on from here.", file=sys.stderr)
        return 130
    return 2
