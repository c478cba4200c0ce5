"""What is known of a run from outside of its process: a small file that it renews, and a lock that ends with it."""

from __future__ import annotations

import fcntl
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from sim.errors import SimError

GOING_S = 10.0
"""s that a process may take to go after it has said how it ended."""
Stage = Literal["starting", "levels", "unknowns", "trials", "working", "done", "stopped", "out of time", "failed"]


@dataclass(frozen=True)
class RunState:
    """Where a run stands."""

    name: str
    kind: Literal["plan", "worth", "budget", "doubt", "reality"]
    job: Mapping[str, Any]
    stage: Stage = "starting"
    done: int = 0
    known: int = 0
    left: int = 0
    seconds_left: float | None = None
    message: str = ""
    pid: int = 0
    result: Mapping[str, Any] = field(default_factory=dict)

    @property
    def at_work(self) -> bool:
        """Whether something is being done, by what the state says."""
        return self.stage in ("starting", "levels", "unknowns", "trials", "working")

    def write(self, file: Path) -> None:
        """Put the state on the disk, whole or not at all."""
        part = file.with_suffix(".part")
        part.write_text(json.dumps(asdict(self)), encoding="utf-8")
        part.replace(file)


def read(file: Path) -> RunState:
    """Read a state.

    :raises SimError: It is damaged or not there.
    """
    try:
        return RunState(**json.loads(file.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as error:
        raise SimError("is not a run that can be gone on with", field="run", value=file.stem,
                       remedy="Ask the question again; trials that were run are in its store") from error


@contextmanager
def held(file: Path, patience_s: float = 0.0, *, looking: bool = False) -> Iterator[bool]:
    """Hold a run's lock as long as the block takes; False if another process has it.

    :param patience_s: How long to try: whoever only looks whether a run is alive has the lock for a moment.
    :param looking: Hold it beside others that only look, so that nobody who looks is taken for a run.
    """
    kind = fcntl.LOCK_SH if looking else fcntl.LOCK_EX
    end = time.monotonic() + patience_s
    with file.with_suffix(".lock").open("w") as lock:
        while True:
            try:
                fcntl.flock(lock, kind | fcntl.LOCK_NB)
                break
            except OSError:
                if time.monotonic() >= end:
                    yield False
                    return
                time.sleep(0.02)
        yield True


def alive(file: Path) -> bool:
    """Whether a process is at work on a run; asked of the system, not of what the file says."""
    with held(file, looking=True) as free:
        return not free


class Runs:
    """The runs of a folder."""

    def __init__(self, own: Path, folder: Path) -> None:
        """Look after the runs of a folder, whose states are kept in ``own``."""
        self._own, self._folder = own, folder
        self._children: dict[str, subprocess.Popen[bytes]] = {}

    def all(self) -> list[RunState]:
        """Every run, the newest first."""
        files = sorted(self._own.glob("run-*.json"), key=lambda file: -file.stat().st_mtime)
        return [self._told(file) for file in files]

    def state(self, name: str) -> RunState:
        """Where a run stands; one whose process is gone without a word counts as stopped.

        :raises SimError: There is no such run.
        """
        return self._told(self._file(name))

    def start(self, state: RunState) -> None:
        """Start a run, or go on with it, in a process of its own that outlives this one.

        :raises SimError: It is running.
        """
        file = self._file(state.name)
        if file.exists() and not self._ended(file):
            raise SimError("is running already", field="run", value=state.name, remedy="Wait for it, or stop it")
        replace(state, stage="starting", message="", pid=0).write(file)
        log = self._own / f"run-{state.name}.log"
        with log.open("ab") as out:
            # A session of its own: neither Ctrl-C in the terminal nor the end of the page's server reaches it.
            child = subprocess.Popen([sys.executable, "-m", "sim.page.asker", str(file)], cwd=self._folder,
                                     stdin=subprocess.DEVNULL, stdout=out, stderr=out, start_new_session=True,
                                     env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)})
        self._children[state.name] = child

    def stop(self, name: str) -> None:
        """Ask a run to stop, as Ctrl-C does: what is done is kept."""
        state, file, child = self.state(name), self._file(name), self._children.get(name)
        if child is not None and child.poll() is None:
            os.killpg(child.pid, signal.SIGINT)  # it leads its own session
        elif alive(file) and state.pid > 1:
            os.killpg(state.pid, signal.SIGINT)

    def _file(self, name: str) -> Path:
        if not name or not all(c.isalnum() or c in "-_" for c in name):
            raise SimError("not the name of a run", field="run", value=name, remedy="Choose one that is listed")
        return self._own / f"run-{name}.json"

    def _at_work(self, file: Path) -> bool:
        child = self._children.get(file.stem.removeprefix("run-"))
        # A child that was only just started has not taken its lock yet.
        return (child is not None and child.poll() is None) or alive(file)

    def _ended(self, file: Path) -> bool:
        """Whether nobody is at work on a run; one that says it has ended is waited for while its process goes."""
        end = time.monotonic() + (0.0 if read(file).at_work else GOING_S)
        while self._at_work(file):
            if time.monotonic() >= end:
                return False
            time.sleep(0.05)
        return True

    def _told(self, file: Path) -> RunState:
        state = read(file)
        if state.at_work and not self._at_work(file):
            # It may have come to its end since it was read.
            state = read(file)
            return replace(state, stage="stopped") if state.at_work else state
        return state
