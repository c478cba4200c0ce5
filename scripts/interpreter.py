"""Find the Python that cragbench runs on, and carry on under it.

This file is read by whatever ``python3`` the user has, so it keeps to syntax that Python 3.6 understands: an old
interpreter must end in a sentence, not in a SyntaxError.
"""

import os
import subprocess
import sys

TESTED = (3, 11)

PROBE = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"


def names(version: tuple, windows: bool) -> list:
    """Return the file names a Python of this version goes by, e.g. ``['python3.11']``."""
    plain = "python%d.%d" % version
    return [plain + ".exe", "python.exe"] if windows else [plain]


def candidates(path: str, windows: bool = False) -> list:
    """Return every file on a search path that might be the tested Python, first folder first.

    All of them, not just the first: version managers put a stand-in of that name in front which may refuse to run.
    """
    found = []
    for folder in path.split(os.pathsep):
        for name in names(TESTED, windows):
            file = os.path.join(folder, name)
            if folder and os.path.isfile(file) and os.access(file, os.X_OK) and file not in found:
                found.append(file)
    return found


def version_of(python: str) -> str:
    """Return ``'3.11'`` for an interpreter that can make environments, ``''`` for one that can't or won't run."""
    try:
        answer = subprocess.run(
            [python, "-c", PROBE], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=30, check=False
        )
    except (OSError, subprocess.SubprocessError):
        return ""
    return answer.stdout.decode("ascii", "replace").strip() if answer.returncode == 0 else ""


def makes_environments() -> bool:
    """Tell whether this very interpreter has venv and ensurepip (Debian ships them apart)."""
    try:
        import ensurepip  # noqa: F401
        import venv  # noqa: F401
    except ImportError:
        return False
    return True


def complaint(version: tuple, complete: bool) -> str:
    """Return what to tell somebody whose only Python is of this version; empty if it will do.

    ``complete`` says whether it has venv and ensurepip.
    """
    mine = "%d.%d" % tuple(version[:2])
    tested = "%d.%d" % TESTED
    if tuple(version[:2]) < TESTED:
        return (
            "This is Python %s; cragbench needs Python %s, and none was found on the PATH.\n"
            "Remedy: install it (Debian and Ubuntu: sudo apt install python%s python%s-venv; Fedora: sudo dnf install "
            "python%s;\nelsewhere: the installer from the Python project), then run the same command again."
        ) % (mine, tested, tested, tested, tested)
    if not complete:
        return (
            "This Python %s cannot make virtual environments: its venv or ensurepip module is missing.\n"
            "Remedy: install it (Debian and Ubuntu: sudo apt install python%s-venv), then run the same command again."
        ) % (mine, mine)
    return ""


def ensure(script: str) -> None:
    """Return if this Python will do; otherwise run ``script`` again under one that does, or exit with a remedy."""
    here = tuple(sys.version_info[:2])
    complete = makes_environments()
    if here == TESTED and complete:
        return
    wanted = "%d.%d" % TESTED
    for python in candidates(os.environ.get("PATH", ""), windows=os.name == "nt"):
        if version_of(python) == wanted:
            print("This is Python %d.%d; going on with %s." % (here[0], here[1], python), flush=True)
            command = [python, os.path.abspath(script)] + sys.argv[1:]
            if os.name == "nt":
                sys.exit(subprocess.call(command))
            os.execv(python, command)
    problem = complaint(here, complete)
    if problem:
        print(problem, file=sys.stderr)
        sys.exit(2)
    print(
        "This is Python %d.%d; cragbench is tested with Python %s, which was not found on the PATH. Trying this one."
        % (here[0], here[1], wanted),
        flush=True,
    )
