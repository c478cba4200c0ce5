"""Feed every reader of files with damaged files: ``scripts/fuzz.py --inputs 10000 --seed 1``.

Good files of every kind are cut, flipped, doubled and spiced with words that hurt; the command line must end with
code 0, 1 (``store check`` that found damage) or 2, without a traceback, within ``--seconds`` of computing each and with
no more than 2 GB beyond what the program itself takes.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import resource
import signal
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from PIL import Image

from models import scenario
from models.configuration import load_configuration
from sim.batch.study import make_task, yard_of
from sim.batch.version import versions
from sim.cli.main import main as command_line
from sim.store.store import Store, StoredTruck
from sim.trial.luck import Variation
from sim.trial.task import Record, Report
from sim.trial.truck import load_truck

Action = Callable[[Path], object]
MOST_BYTES = 2_000_000_000
"""Of memory that one input may ask for."""
SPICE = (b"nan", b"inf", b"-1", b"1e308", b"9" * 5000, b"[[[[[[[[", b"]]]]", b'"', b"\x00", b"\xff\xfe", b"\x1b[31m",
         b"true", b"schema = 2", b"= =", b"\n\n", b"<script>", b"0", b"1e-320", b"{", b"#", b",,,,")  # fmt: skip
COURSE = "schema = 1\nname = 'c'\n[[leg]]\nobstacle = 'ledge:20'\n[[leg]]\ngate = 'a'\n[[leg]]\nfree_mm = 300\n"
LOG = ("line,obstacle,surface,configuration,outcome,video,date\nstep,ledge:24,rock,as it is,cleared,0:42,2026-11-22\n"
       "step,,,as it is,stuck: tyres slipped,1:10,\n")
TRIANGLE = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 500 0 0\nvertex 0 500 9\nendloop\nendfacet\n"


def command(words: Callable[[Path], list[str]]) -> Action:
    """What hands a file to a command."""
    return lambda path: command_line(words(path))


def seeds(folder: Path) -> dict[str, tuple[bytes, str, Action]]:
    """Good files by kind: content, ending, and what reads one."""
    from sim.decision.tilt_file import tilted_trucks

    build = scenario.builds()[0]
    change = next(path for path in build.parent.rglob("*.toml") if "[[move]]" in path.read_text(encoding="utf-8"))
    plan = (f"schema = 1\nname = 'p'\nrepeats = 3\n[[configuration]]\nname = 'a'\nbuild = '{build}'\n"
            "[[obstacle]]\nfamily = 'ledge'\nlevels = [20.0]\n")
    np.savez(folder / "g.npz", heights=np.random.default_rng(1).random((20, 20)), cellsize=np.array(10.0))
    Image.fromarray(np.arange(900, dtype=np.uint8).reshape(30, 30)).save(folder / "i.png")
    fill(folder / "s.sqlite", build)
    tilted_trucks({"a": load_configuration(build).sheet}, 4, folder / "tilt.json")
    out = command(lambda p: ["terrain", "import", str(p), "--out", str(p.with_suffix(".out.npz")), "--pixel-mm", "10",
                             "--relief-mm", "0,50"])  # fmt: skip
    store = (folder / "s.sqlite").read_bytes()
    told = folder / "told"
    return {
        "sheet": (build.read_bytes(), ".toml", command(lambda p: ["sheet", str(p), "--json"])),
        "change": (change.read_bytes(), ".toml", command(lambda p: ["sheet", str(build), str(p), "--json"])),
        "plan": (plan.encode(), ".toml", command(lambda p: ["plan", "check", str(p), "--probe", "0"])),
        "course": (COURSE.encode(), ".toml",
                   command(lambda p: ["terrain", "show", f"{p}:100", "--out", str(folder / "o.png")])),
        "readings": ((scenario.DATA / "readings" / build.name).read_bytes(), ".toml",
                     command(lambda p: ["weigh", str(p), "--sheet", str(build), "--json"])),
        "run log": (LOG.encode(), ".csv", command(lambda p: ["log", "add", str(folder / "log.sqlite"), str(p)])),
        "tilt": ((folder / "tilt.json").read_bytes(), ".json", lambda p: tilted_trucks({}, 4, p)),
        "mesh": (TRIANGLE.encode(), ".stl", out),
        "image": ((folder / "i.png").read_bytes(), ".png", out),
        "ground": ((folder / "g.npz").read_bytes(), ".npz", out),
        "grid": (b"ncols 20\nnrows 20\ncellsize 10\n" + b"1 2 3 4 5 6 7 8 9 0 " * 40, ".asc", out),
        "store": (store, ".sqlite", command(lambda p: ["store", "check", str(p)])),
        "store compared": (store, ".sqlite", command(lambda p: ["compare", str(p), "--tilt", "0", "--no-charts",
                                                                "--json", "--out", str(told)])),
    }  # fmt: skip


def fill(path: Path, build: Path) -> None:
    """A store of two trucks with a few trials that are written down instead of driven."""
    trucks = [load_truck(build), load_truck(build, [scenario.change(build, "battery-forward")])]
    record = Record("cleared", "crossed the finish", 6.0, 600.0, 12.0, 14.0, 0.1, 0, 3.0, 0.0, 9.0, 2.0)
    reports = [
        Report(make_task(truck.hash, "ledge", 20.0, repeat, yard=yard_of(truck.model), driver_name="steady", seed=3,
                         variation=Variation()), record, None, 0.1)
        for truck in trucks for repeat in range(4)
    ]  # fmt: skip
    with Store(path, write=True) as store:
        store.add_configurations([StoredTruck(truck.hash, truck.name, truck.facts) for truck in trucks])
        store.add(reports, versions())


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


class Late(BaseException):
    """No end within the time; nothing catches it on the way."""


@contextlib.contextmanager
def limited(seconds: int) -> Iterator[None]:
    """Time and memory for one input: :class:`Late` or MemoryError beyond them."""

    def late(*_: object) -> None:
        raise Late

    kept = resource.getrlimit(resource.RLIMIT_AS)
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    resource.setrlimit(resource.RLIMIT_AS, (pages * resource.getpagesize() + MOST_BYTES, kept[1]))
    for number in (signal.SIGPROF, signal.SIGALRM):
        signal.signal(number, late)
    # Time of its own, as other programs may hold the processor; and by the clock for what waits and does nothing.
    signal.setitimer(signal.ITIMER_PROF, seconds)
    signal.alarm(10 * seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.alarm(0)
        resource.setrlimit(resource.RLIMIT_AS, kept)


def tried(action: Action, path: Path, seconds: int) -> str:
    """What went wrong, nothing if it ended as it should."""
    said = io.StringIO()
    code: object = None
    try:
        with limited(seconds), contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            action(path)
    except SystemExit as ended:
        code = ended.code
    except BaseException as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {str(error)[:100]} ({Path(where.filename).name}:{where.lineno})"
    if code not in (0, None, 2) and not (code == 1 and path.suffix == ".sqlite"):
        return f"exit code {code}"
    return "a traceback in its words" if "Traceback" in said.getvalue() else ""


def fuzz(inputs: int, seed: int, seconds: int = 60, keep: Path | None = None,
         told: Callable[[str], object] = lambda line: None) -> Counter[str]:
    """Try damaged files of every kind in turn; returns faults and how often each came.

    :param keep: Folder for the inputs that made a fault; left out, they are not kept.
    :param told: Hears of each fault at once and of every 500th input: a run of hours that is cut short has said
        what it found.
    """  # fmt: skip
    rng = random.Random(seed)
    faults: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        kinds = list(seeds(Path(name)).items())
        for number in range(inputs):
            kind, (data, ending, action) = kinds[number % len(kinds)]
            path = Path(name) / f"input{ending}"
            path.write_bytes(mutated(data, rng))
            before = path.read_bytes()
            fault = tried(action, path, seconds)
            if fault:
                faults[f"{kind}: {fault}"] += 1
                told(f"input {number}, {kind}: {fault}")
                if keep is not None:
                    (keep / f"{number}{ending}").write_bytes(before)
            for left in Path(name).glob("input*"):
                left.unlink()
            if (number + 1) % 500 == 0:
                told(f"{number + 1} inputs, {sum(faults.values())} faults")
    return faults


def main() -> None:
    """Run from the command line."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--inputs", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--seconds", type=int, default=60)
    options.add_argument("--keep", type=Path, help="folder for the inputs that made a fault")
    given = options.parse_args()
    faults = fuzz(given.inputs, given.seed, given.seconds, given.keep,
                  lambda line: print(line, file=sys.stderr, flush=True))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"{given.inputs} inputs, {sum(faults.values())} faults, at most {peak} MB of memory")
    for fault, count in faults.most_common():
        print(f"  {count:5} {fault}")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
