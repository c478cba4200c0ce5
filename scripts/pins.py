"""Write down the versions and hashes that are installed, from pip's own reports: see DEVELOPERS.md, "A library"."""

from __future__ import annotations

import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
HEAD = """\
# The libraries that {what}, at the versions that were tested together, each with the SHA-256 of its one
# file for Python 3.11 on 64-bit x86 Linux (glibc). scripts/demo.py and scripts/test.py install these and nothing else.
# Made anew by scripts/pins.py.
"""


def pins(report: Path) -> dict[str, str]:
    """Lines of a requirements file by lower-case name, from what ``pip install --dry-run --report`` wrote."""
    found = {}
    for one in json.loads(report.read_text(encoding="utf-8"))["install"]:
        if "archive_info" in one["download_info"]:  # the project itself is a folder
            name, digest = one["metadata"]["name"], one["download_info"]["archive_info"]["hashes"]["sha256"]
            found[name.lower()] = f"{name}=={one['metadata']['version']} --hash=sha256:{digest}\n"
    return found


def main() -> None:
    """``pins.py USER.json TEST.json``."""
    user, test = (pins(Path(name)) for name in sys.argv[1:])
    files = {"constraints.txt": ("cragbench runs on", user),
             "constraints_test.txt": ("the tests and checks need besides",
                                      {name: line for name, line in test.items() if name not in user})}  # fmt: skip
    for file, (what, lines) in files.items():
        text = HEAD.format(what=what) + "".join(line for _, line in sorted(lines.items()))
        (HERE / file).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
