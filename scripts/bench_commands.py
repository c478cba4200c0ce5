"""Time and trials of the decision commands on this machine, each from nothing, as a table in Markdown.

    .venv/bin/python scripts/bench_commands.py               all of them, one after the other
    .venv/bin/python scripts/bench_commands.py shift worth   some

Kernels are compiled before anything is timed; processor time is that of the command and its workers.
"""

from __future__ import annotations

import json
import os
import resource
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DATA = ROOT / "models" / "scenario_data"
MOVE, RINGS = "changes/gundi/battery-forward.toml", "changes/gundi/front-wheel-rings.toml"
COMMANDS = {
    "verdict": ("verdict", "gundi.toml", MOVE),
    "verdict, luck only": ("verdict", "gundi.toml", MOVE, "--luck-only"),
    "shift": ("shift", "gundi.toml", "battery", "--with", "battery tray", "--to", "115"),
    "shift, luck only": ("shift", "gundi.toml", "battery", "--with", "battery tray", "--to", "115", "--luck-only"),
    "worth": ("worth", "gundi.toml", MOVE, RINGS),
    "budget": ("budget", "gundi.toml", MOVE, RINGS, "--money", "20"),
    "doubt": ("doubt", "gundi.toml", MOVE),
}


def run(words: tuple[str, ...], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in the folder of the invented trucks."""
    own = () if words[0] == "drive" else ("--out", str(folder))
    return subprocess.run([sys.executable, "-m", "sim.cli.main", *words, *own, "--json"], cwd=DATA, check=False,
                          env=os.environ | {"PYTHONPATH": str(ROOT)}, capture_output=True, text=True)


def trials(folder: Path) -> int:
    """How many trials its stores hold."""
    from sim.store.store import Store

    count = 0
    for file in folder.rglob("*.sqlite"):
        with Store(file) as store:
            count += store.count()
    return count


def row(name: str) -> str:
    """One line of the table.

    :raises SystemExit: The command failed.
    """
    with tempfile.TemporaryDirectory() as at:
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        done = run(COMMANDS[name], Path(at))
        took, after = time.monotonic() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
        if done.returncode:
            raise SystemExit(f"{name}: {done.stderr.strip()}")
        count = trials(Path(at))
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    answer = json.loads(done.stdout)
    answer = answer["words"][0] if "words" in answer else answer
    said = answer["verdict"] if "verdict" in answer else "worth buying" if answer["buy"] else "keep the money"
    return f"| `{shlex.join(COMMANDS[name])}` | {count} | {took:.0f} | {cpu:.0f} | {said} |"


def main() -> None:
    """Time what is asked for."""
    wanted = sys.argv[1:] or list(COMMANDS)
    unknown = [name for name in wanted if name not in COMMANDS]
    if unknown:
        raise SystemExit(f"{unknown[0]}: not one of {', '.join(COMMANDS)}")
    run(("drive", "gundi.toml", "ledge:20"), DATA)
    print("| command | trials | s | processor, s | word |\n|---|---|---|---|---|", flush=True)
    for name in wanted:
        print(row(name), flush=True)


if __name__ == "__main__":
    main()
