"""Feed every reader of files with damaged files: ``scripts/fuzz.py --inputs 10000 --seed 1``.

Good files of every kind are cut, flipped, doubled and spiced with words that hurt; the command line must end with
code 0, 1 (``store check`` that found damage) or 2, without a traceback, within ``--seconds`` each and below 2 GB.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import random
import resource
import signal
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from models import scenario
from sim.cli.main import main as command_line

MOST_KB = 2_000_000
SPICE = (b"nan", b"inf", b"-1", b"1e308", b"9" * 5000, b"[[[[[[[[", b"]]]]", b'"', b"\x00", b"\xff\xfe", b"\x1b[31m",
         b"true", b"schema = 2", b"= =", b"\n\n", b"<script>", b"0", b"1e-320", b"{", b"#", b",,,,")  # fmt: skip
COURSE = "schema = 1\nname = 'c'\n[[leg]]\nobstacle = 'ledge:20'\n[[leg]]\ngate = 'a'\n[[leg]]\nfree_mm = 300\n"
LOG = ("line,obstacle,surface,configuration,outcome,video,date\nstep,ledge:24,rock,as it is,cleared,0:42,2026-11-22\n"
       "step,,,as it is,stuck: tyres slipped,1:10,\n")
TRIANGLE = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 500 0 0\nvertex 0 500 9\nendloop\nendfacet\n"


def seeds(folder: Path) -> dict[str, tuple[bytes, str, Callable[[Path], list[str]]]]:
    """Good files by kind: content, ending, and the command that reads one."""
    build = scenario.builds()[0]
    change = next(path for path in build.parent.rglob("*.toml") if "[[move]]" in path.read_text(encoding="utf-8"))
    plan = (f"schema = 1\nname = 'p'\nrepeats = 3\n[[configuration]]\nname = 'a'\nbuild = '{build}'\n"
            "[[obstacle]]\nfamily = 'ledge'\nlevels = [20.0]\n")
    np.savez(folder / "g.npz", heights=np.random.default_rng(1).random((20, 20)), cellsize=np.array(10.0))
    Image.fromarray(np.arange(900, dtype=np.uint8).reshape(30, 30)).save(folder / "i.png")
    from sim.store.store import Store

    Store(folder / "s.sqlite", write=True).close()
    tilt = json.dumps({"schema": 1, "trucks": {"a": {"direction_deg": [0, 90], "tip_deg": [40, None]}}})

    def out(path: Path) -> list[str]:
        return ["terrain", "import", str(path), "--out", str(path.with_suffix(".out.npz")), "--pixel-mm", "10",
                "--relief-mm", "0,50"]  # fmt: skip

    return {
        "sheet": (build.read_bytes(), ".toml", lambda p: ["sheet", str(p), "--json"]),
        "change": (change.read_bytes(), ".toml", lambda p: ["sheet", str(build), str(p), "--json"]),
        "plan": (plan.encode(), ".toml", lambda p: ["plan", "check", str(p), "--probe", "0"]),
        "course": (COURSE.encode(), ".toml", lambda p: ["terrain", "show", f"{p}:100", "--out", str(folder / "o.png")]),
        "readings": (build.read_bytes(), ".toml", lambda p: ["fit", str(build), str(p)]),
        "run log": (LOG.encode(), ".csv", lambda p: ["log", "add", str(folder / "log.sqlite"), str(p)]),
        "tilt": (tilt.encode(), ".json", lambda p: ["terrain", "import", str(p), "--out", str(folder / "t.npz")]),
        "mesh": (TRIANGLE.encode(), ".stl", out),
        "image": ((folder / "i.png").read_bytes(), ".png", out),
        "ground": ((folder / "g.npz").read_bytes(), ".npz", out),
        "grid": (b"ncols 20\nnrows 20\ncellsize 10\n" + b"1 2 3 4 5 6 7 8 9 0 " * 40, ".asc", out),
        "store": ((folder / "s.sqlite").read_bytes(), ".sqlite", lambda p: ["store", "check", str(p)]),
    }


def mutated(data: bytes, rng: random.Random) -> bytes:
    """A file with one to four faults."""
    changed = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(changed) + 1)
        end = min(len(changed), at + rng.choice((1, 1, 2, 8, 64)))
        kind = rng.randrange(5)
        if kind == 0 and changed:
            changed[min(at, len(changed) - 1)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del changed[at:end]
        elif kind == 2:
            changed[at:at] = changed[at:end] * rng.choice((1, 2, 50))
        elif kind == 3:
            changed[at:end] = rng.choice(SPICE)
        else:
            changed[at:at] = rng.choice(SPICE)
    return bytes(changed)


def tried(arguments: list[str], seconds: int) -> str:
    """What went wrong, nothing if the command ended as it should."""

    def late(*_: object) -> None:
        raise TimeoutError("no end")

    said = io.StringIO()
    signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    code: object = None
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            command_line(arguments)
    except SystemExit as ended:
        code = ended.code
    except BaseException as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {str(error)[:100]} ({Path(where.filename).name}:{where.lineno})"
    finally:
        signal.alarm(0)
    if code not in (0, None, 2) and not (code == 1 and arguments[0] == "store"):
        return f"exit code {code}"
    return "a traceback in its words" if "Traceback" in said.getvalue() else ""


def fuzz(inputs: int, seed: int, seconds: int = 60) -> Counter[str]:
    """Try damaged files of every kind in turn; returns faults and how often each came."""
    rng = random.Random(seed)
    faults: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        kinds = list(seeds(Path(name)).items())
        for number in range(inputs):
            kind, (data, ending, command) = kinds[number % len(kinds)]
            path = Path(name) / f"input{ending}"
            path.write_bytes(mutated(data, rng))
            fault = tried(command(path), seconds)
            if fault:
                faults[f"{kind}: {fault}"] += 1
            path.unlink(missing_ok=True)
        if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > MOST_KB:
            faults["more than 2 GB of memory"] += 1
    return faults


def main() -> None:
    """Run from the command line."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--inputs", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--seconds", type=int, default=60)
    given = options.parse_args()
    faults = fuzz(given.inputs, given.seed, given.seconds)
    print(f"{given.inputs} inputs, {sum(faults.values())} faults")
    for fault, count in faults.most_common():
        print(f"  {count:5} {fault}")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
