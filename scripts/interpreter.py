"""Find the Python that cragbench runs on, and carry on under it.

This file is read by whatever ``python3`` the user has, so it keeps to syntax that Python 3.6 understands: an old
interpreter must end in a sentence, not in a SyntaxError.
"""

import os
import subprocess
import sys
from importlib.util import find_spec

TESTED = (3, 11)
PROBE = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"


def candidates(path: str, windows: bool = False) -> list:
    """Return every file on a search path that might be the tested Python, first folder first.

    All of them, not just the first: version managers put a stand-in of that name in front which may refuse to run.
    """
    plain = "python%d.%d" % TESTED
    names = [plain + ".exe", "python.exe"] if windows else [plain]
    files = [os.path.join(folder, name) for folder in path.split(os.pathsep) if folder for name in names]
    return [file for file in dict.fromkeys(files) if os.path.isfile(file) and os.access(file, os.X_OK)]


def version_of(python: str) -> str:
    """Return ``'3.11'`` for an interpreter that can make environments, ``''`` for one that can't or won't run."""
    try:
        answer = subprocess.run(
            [python, "-c", PROBE], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=30, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return ""
    return answer.stdout.decode("ascii", "replace").strip()


def complaint(version: tuple, complete: bool) -> str:
    """Return what to tell somebody whose only Python is of this version; empty if it will do.

    ``complete`` says whether it has venv and ensurepip, which Debian ships apart.
    """
    words = {"mine": "%d.%d" % version, "tested": "%d.%d" % TESTED}
    if version < TESTED:
        return (
            "This is Python {mine}; cragbench needs Python {tested}, and none was found on the PATH.\n"
            "Remedy: install it (Debian and Ubuntu: sudo apt install python{tested} python{tested}-venv; Fedora: sudo "
            "dnf install python{tested};\nelsewhere: the installer from the Python project), then run the same command "
            "again."
        ).format(**words)
    if not complete:
        return (
            "This Python {mine} cannot make virtual environments: its venv or ensurepip module is missing.\n"
            "Remedy: install it (Debian and Ubuntu: sudo apt install python{mine}-venv), then run the same command "
            "again."
        ).format(**words)
    return ""


def ensure(script: str) -> None:
    """Return if this Python will do; otherwise run ``script`` again under one that does, or exit with a remedy."""
    here = tuple(sys.version_info[:2])
    problem = complaint(here, all(find_spec(name) for name in ("venv", "ensurepip")))
    if here == TESTED and not problem:
        return
    for python in candidates(os.environ.get("PATH", ""), windows=os.name == "nt"):
        if version_of(python) == "%d.%d" % TESTED:
            print("This is Python %d.%d; going on with %s." % (*here, python), flush=True)
            command = [python, os.path.abspath(script)] + sys.argv[1:]
            if os.name == "nt":
                sys.exit(subprocess.call(command))
            os.execv(python, command)
    if problem:
        print(problem, file=sys.stderr)
        sys.exit(2)
    print(
        "This is Python %d.%d; cragbench is tested with Python %d.%d, which was not found on the PATH. Trying this one."
        % (*here, *TESTED),
        flush=True,
    )
