"""Hold the first lines of commits to 72 characters; exit code 1 names those that are longer.

Looks at what came after the rule, and at nothing where there is no history to look at (an archive, a shallow clone).
"""

import subprocess
import sys
from pathlib import Path

LONGEST = 72
RULE = "b68fa2531600fb0b3eec99270f65ab2f766d4190"
"""The commit before the first that is held to it."""


def after(commit: str, folder: Path) -> str | None:
    """First lines of what came after a commit, one a line; None where the history does not reach back to it."""
    command = ["git", "log", "--no-merges", "--format=%s", f"{commit}..HEAD"]
    try:
        return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        return None


def longer(log: str) -> list[str]:
    """Those of a log's lines that are too long."""
    return [line for line in log.splitlines() if len(line) > LONGEST]


if __name__ == "__main__":
    log = after(RULE, Path(__file__).resolve().parent)
    found = longer(log or "")
    print("no history to look at" if log is None else f"{len(log.splitlines())} subjects")
    for line in found:
        print(f"{len(line)} characters, at most {LONGEST}: {line}")
    sys.exit(1 if found else 0)
