"""Grounds shared by the processes of one machine: made once by whoever needs one first, mapped by all others.

The grounds are files in a private folder, in memory where the system has a memory file system with room, else in the
temporary folder. The folder has a size limit; the ground unused for longest makes room. Nothing here can fail a trial:
whoever cannot share makes its own copy.

The owner holds a lock on a file in the folder as long as it lives, however it ends. A folder whose lock is free has no
owner any more and is removed by whoever sees it first: a worker that outlives the owner, or the next owner.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
import weakref
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from terrain import shared
from terrain.obstacle import Obstacle

UNIX = os.name == "posix"
"""Elsewhere there is no lock that ends with its process: everybody makes its own."""
if UNIX:
    import fcntl

MEMORY_FOLDER = Path("/dev/shm")
NAME = "cragbench-grounds-"
OWNER = "owner"
LIMIT_MB = 256
"""Usual size limit of a pool: some 300 grounds of families, or eight scans of 2000 x 2000 nodes."""
LEAST_MB = 16
"""A place with less room is not worth sharing in."""
PATIENCE_S = 20.0
"""Longest wait for another process that makes the same ground."""
LOOK_S = 0.002
ORPHAN_S = 2.0
"""Longest wait for the last files of a killed owner to close."""
UNOWNED_S = 60.0
"""Age at which a folder without an owner's file counts as left behind: its owner died within its first moments."""


@dataclass(frozen=True)
class GroundPool:
    """Where the shared grounds of a batch are: small, and safe to send to any process of this machine."""

    folder: str
    limit: int
    """Bytes that the grounds may take together."""

    def obstacle(self, key: str, make: Callable[[], Obstacle]) -> Obstacle:
        """The obstacle of this key: mapped, or made and shared, or, where that cannot be, made for oneself."""
        path = Path(self.folder) / f"{key}.ground"
        found = _attached(path)
        if found is not None:
            return found
        with _locked(Path(self.folder) / f"making-{key[:2]}.lock"):
            found = _attached(path)
            if found is not None:
                return found
            made = make()
            return _attached(path) or made if self._publish(made, path) else made

    def _publish(self, obstacle: Obstacle, path: Path) -> bool:
        """Write a ground into the folder, whole or not at all; False when there is no room for it."""
        need = shared.size(obstacle)
        if need > self.limit:
            return False
        part = path.with_suffix(".part")
        with _locked(path.with_name("room.lock")) as alone:
            if not alone:
                return False
            try:
                self._make_room(path.parent, need)
                with part.open("wb") as file:
                    shared.write(obstacle, file)
                part.replace(path)
            except OSError:
                with contextlib.suppress(OSError):
                    part.unlink()
                return False
        return True

    def _make_room(self, folder: Path, need: int) -> None:
        """Remove what was left half-written, then the grounds unused for longest, until ``need`` bytes are free."""
        for part in folder.glob("*.part"):
            part.unlink()
        there = sorted((file.stat().st_mtime_ns, file.stat().st_size, file) for file in folder.glob("*.ground"))
        total = sum(size for _, size, _ in there)
        for _, size, file in there:
            if total + need <= self.limit:
                break
            file.unlink()
            total -= size


class OwnedPool:
    """A pool and the duty to remove it; removed at the latest when this process ends in an orderly way."""

    def __init__(self, pool: GroundPool, lock: int) -> None:
        self.pool = pool
        self.close = weakref.finalize(self, _remove, pool.folder, lock)
        """Remove the folder. Processes that have grounds mapped keep them until they let go."""


def open_pool(limit_mb: float = LIMIT_MB) -> OwnedPool | None:
    """Make a pool for this process and those it starts, or None where there is no place for one.

    Pools whose owners are dead are removed first. The limit becomes half of what is free where that is less.
    """
    if not UNIX:
        return None
    sweep()
    found = _roomiest(int(limit_mb * 2**20))
    if found is None:
        return None
    root, limit = found
    try:
        folder = tempfile.mkdtemp(prefix=f"{NAME}{os.getpid()}-", dir=root)
    except OSError:
        return None
    try:
        fresh = os.path.join(folder, OWNER + ".new")
        lock = os.open(fresh, os.O_CREAT | os.O_RDWR | os.O_EXCL, 0o600)
        fcntl.flock(lock, fcntl.LOCK_EX)
        os.rename(fresh, os.path.join(folder, OWNER))  # it is never seen unlocked
    except OSError:
        shutil.rmtree(folder, ignore_errors=True)
        return None
    return OwnedPool(GroundPool(folder, limit), lock)


_joined: GroundPool | None = None


def join(pool: GroundPool | None) -> None:
    """Share grounds with the other processes of this machine from now on; None to keep them to oneself again."""
    global _joined
    _joined = pool


def obstacle(key: str, make: Callable[[], Obstacle]) -> Obstacle:
    """The obstacle of this key from the pool that this process has joined, else made for oneself."""
    return make() if _joined is None else _joined.obstacle(key, make)


def clear_up(pool: GroundPool) -> None:
    """Remove the pool of an owner that has just been killed, as soon as its last files are closed."""
    until = time.monotonic() + ORPHAN_S
    while not remove_if_orphan(pool.folder) and Path(pool.folder).exists() and time.monotonic() < until:
        time.sleep(LOOK_S)


def sweep() -> int:
    """Remove the pools of owners that are no more; returns how many."""
    return sum(remove_if_orphan(folder) for root in _roots() for folder in root.glob(f"{NAME}*"))


def remove_if_orphan(folder: str | Path) -> bool:
    """Remove a pool's folder if its owner is dead; tells whether it did."""
    path = Path(folder)
    if not UNIX or not path.name.startswith(NAME):
        return False
    try:
        status = path.lstat()
        if path.is_symlink() or status.st_uid != os.geteuid():
            return False
        try:
            lock = os.open(path / OWNER, os.O_RDWR | os.O_NOFOLLOW)
        except FileNotFoundError:
            if time.time() - status.st_mtime < UNOWNED_S:
                return False
            shutil.rmtree(path, ignore_errors=True)
            return True
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(path, ignore_errors=True)
        finally:
            os.close(lock)
    except OSError:  # it is owned, or somebody else removes it
        return False
    return True


def _remove(folder: str, lock: int) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    with contextlib.suppress(OSError):
        os.close(lock)


def _roots() -> list[Path]:
    return [root for root in (MEMORY_FOLDER, Path(tempfile.gettempdir())) if root.is_dir() and os.access(root, os.W_OK)]


def _roomiest(limit: int) -> tuple[Path, int] | None:
    """First place with room for the limit twice, else the one with most room and half of that as the limit."""
    best: tuple[Path, int] | None = None
    for root in _roots():
        try:
            room = min(limit, shutil.disk_usage(root).free // 2)
        except OSError:
            continue
        if best is None or room > best[1]:
            best = root, room
    return best if best is not None and best[1] >= LEAST_MB * 2**20 else None


def _attached(path: Path) -> Obstacle | None:
    try:
        found = shared.attach(path)
    except (OSError, ValueError):
        return None
    with contextlib.suppress(OSError):  # it may have been removed meanwhile; what is mapped stays
        os.utime(path)
    return found


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[bool]:
    """Hold a lock that ends with the process; False inside when it cannot be had, or not within the patience."""
    try:
        lock = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    except OSError:
        yield False
        return
    try:
        yield _obtained(lock)
    finally:
        os.close(lock)


def _obtained(lock: int) -> bool:
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > until:
                return False
            time.sleep(LOOK_S)
        except OSError:
            return False
        else:
            return True
