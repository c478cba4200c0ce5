"""Grounds shared by the processes of a machine: made once, bounded, never litter, never in the way of a trial."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from types import SimpleNamespace
from typing import BinaryIO

import fake_batch
import numpy as np
import pytest

from terrain import pool, shared
from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle, Pose

MB = 2**20
FOLDERS = (pool.MEMORY_FOLDER, Path(pool.tempfile.gettempdir()))
pytestmark = pytest.mark.skipif(not pool.UNIX, reason="nothing is shared elsewhere")


def bump(height: float = 1.0, nodes: int = 64) -> Obstacle:
    ground = Heightfield.of(np.full((nodes, nodes), height), (0.0, 0.0), 0.002)
    return Obstacle("bump", height, "mm", ground, Pose(0.0, 0.0, 0.0), np.zeros((2, 2)), 1.0, 0.1, (0.0, 1.0))


@pytest.fixture
def owned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[pool.OwnedPool]:
    """A pool in a folder of its own."""
    monkeypatch.setattr(pool, "MEMORY_FOLDER", tmp_path)
    made = pool.open_pool(limit_mb=32)
    assert made is not None
    yield made
    made.close()


def never() -> Obstacle:
    raise AssertionError("made twice")


def slowly(mark: Path) -> Callable[[], Obstacle]:
    """A maker that leaves a mark for every time it is called and takes its time."""

    def make() -> Obstacle:
        (mark / f"{os.getpid()}-{time.monotonic_ns()}").touch()
        time.sleep(0.3)
        return bump(7.0)

    return make


def use(found: pool.GroundPool, mark: Path, said: object) -> None:
    height = found.obstacle("ab" * 16, slowly(mark)).ground.z[3, 3]
    said.put(float(height))  # type: ignore[attr-defined]


def test_several_processes_make_it_once(owned: pool.OwnedPool, tmp_path: Path) -> None:
    mark = tmp_path / "marks"
    mark.mkdir()
    context = get_context("spawn")
    said = context.Queue()
    crowd = [context.Process(target=use, args=(owned.pool, mark, said)) for _ in range(3)]
    for one in crowd:
        one.start()
    assert [said.get(timeout=60) for _ in crowd] == [7.0, 7.0, 7.0]
    for one in crowd:
        one.join()
    assert len(list(mark.iterdir())) == 1


def test_the_maker_uses_the_shared_copy_too(owned: pool.OwnedPool) -> None:
    made = bump()
    found = owned.pool.obstacle("cd" * 16, lambda: made)
    assert not np.shares_memory(found.ground.z, made.ground.z)
    assert owned.pool.obstacle("cd" * 16, never).ground.z[0, 0] == 1.0


def sizes(owned: pool.OwnedPool) -> int:
    return sum(file.stat().st_size for file in Path(owned.pool.folder).iterdir())


def test_the_limit_holds_and_the_longest_unused_goes(owned: pool.OwnedPool) -> None:
    """Grounds of 2 MB (and a thirty-second of it for the coarse map) under 8 MB: three fit."""
    small = replace(owned.pool, limit=8 * MB)
    keys = [f"{i:x}{i:x}" * 16 for i in range(5)]
    for number, key in enumerate(keys):
        small.obstacle(key, lambda number=number: bump(float(number), 512))  # type: ignore[misc]
        assert sizes(owned) <= 8 * MB
        if number >= 1:
            assert small.obstacle(keys[0], never).level == 0.0  # in use: it stays
        time.sleep(0.01)
    assert {file.stem for file in Path(owned.pool.folder).glob("*.ground")} == {keys[0], keys[3], keys[4]}


def test_ground_above_the_limit_stays_ones_own(owned: pool.OwnedPool) -> None:
    made = bump(1.0, 512)
    assert replace(owned.pool, limit=MB).obstacle("ef" * 16, lambda: made) is made
    assert sizes(owned) == 0


def test_full_memory_leaves_nothing_half_written(owned: pool.OwnedPool, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(obstacle: Obstacle, file: BinaryIO) -> None:
        file.write(b"x" * 1000)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shared, "write", full)
    made = bump()
    assert owned.pool.obstacle("12" * 16, lambda: made) is made
    assert sizes(owned) == 0


@pytest.mark.parametrize("text", [b"", b"junk", b"             400" + b"{" * 500])
def test_damaged_file_is_made_anew(owned: pool.OwnedPool, text: bytes) -> None:
    (Path(owned.pool.folder) / f"{'34' * 16}.ground").write_bytes(text)
    assert owned.pool.obstacle("34" * 16, bump).level == 1.0
    assert owned.pool.obstacle("34" * 16, never).level == 1.0


def test_half_written_by_a_killed_process_makes_room(owned: pool.OwnedPool) -> None:
    part = Path(owned.pool.folder) / "x.part"
    part.write_bytes(b"x" * 1000)
    owned.pool.obstacle("56" * 16, bump)
    assert not part.exists()


def test_without_its_folder_everybody_makes_their_own(owned: pool.OwnedPool) -> None:
    owned.close()
    assert not Path(owned.pool.folder).exists()
    made = bump()
    assert owned.pool.obstacle("78" * 16, lambda: made) is made


def test_an_error_of_the_maker_is_told_and_locks_nobody_out(owned: pool.OwnedPool) -> None:
    def fail() -> Obstacle:
        raise ValueError("no such ground")

    with pytest.raises(ValueError, match="no such ground"):
        owned.pool.obstacle("9a" * 16, fail)
    assert owned.pool.obstacle("9a" * 16, bump).level == 1.0


def test_a_lock_that_is_never_given_up_does_not_stop_a_trial(
    owned: pool.OwnedPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool, "PATIENCE_S", 0.02)
    with pool._locked(Path(owned.pool.folder) / "making-bc.lock") as mine:
        assert mine
        assert owned.pool.obstacle("bc" * 16, bump).level == 1.0


def room(monkeypatch: pytest.MonkeyPatch, memory: Path, temporary: Path, free: dict[Path, int]) -> None:
    monkeypatch.setattr(pool, "MEMORY_FOLDER", memory)
    monkeypatch.setattr(pool.tempfile, "gettempdir", lambda: str(temporary))
    monkeypatch.setattr(pool.shutil, "disk_usage", lambda path: SimpleNamespace(free=free[Path(path)]))


@pytest.mark.parametrize(
    ("memory_mb", "temporary_mb", "where", "limit_mb"),
    [
        (1000, 9000, "memory", 256),  # room for the limit twice: memory first
        (64, 9000, "temporary", 256),  # the usual 64 MB of a container
        (64, 50, "memory", 32),  # little everywhere: half of the larger
        (20, 20, None, 0),  # none worth it
    ],
)
def test_where_the_pool_goes(
    memory_mb: int,
    temporary_mb: int,
    where: str | None,
    limit_mb: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    memory, temporary = tmp_path / "memory", tmp_path / "temporary"
    memory.mkdir()
    temporary.mkdir()
    room(monkeypatch, memory, temporary, {memory: memory_mb * MB, temporary: temporary_mb * MB})
    found = pool.open_pool()
    if where is None:
        assert found is None
        return
    assert found is not None
    assert Path(found.pool.folder).parent.name == where
    assert found.pool.limit == limit_mb * MB
    found.close()
    assert list((tmp_path / where).iterdir()) == []


def test_without_a_memory_file_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    room(monkeypatch, tmp_path / "none", tmp_path, {tmp_path: 9000 * MB})
    found = pool.open_pool()
    assert found is not None
    assert found.pool.obstacle("de" * 16, bump).level == 1.0
    found.close()


def test_sweeping_spares_the_living(owned: pool.OwnedPool) -> None:
    owned.pool.obstacle("f0" * 16, bump)
    assert pool.sweep() == 0
    assert owned.pool.obstacle("f0" * 16, never).level == 1.0


def test_sweeping_leaves_what_is_not_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A link that somebody put there is not followed, and a pool in its first moment has no owner's file yet."""
    room(monkeypatch, tmp_path / "memory", tmp_path, {tmp_path: 0})
    treasure = tmp_path / "treasure"
    treasure.mkdir()
    (treasure / pool.OWNER).touch()
    (tmp_path / f"{pool.NAME}link").symlink_to(treasure)
    (tmp_path / f"{pool.NAME}fresh").mkdir()
    assert pool.sweep() == 0
    assert (treasure / pool.OWNER).exists()
    assert (tmp_path / f"{pool.NAME}fresh").exists()


def test_the_next_owner_removes_what_a_killed_one_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = (
        "import os, pathlib; from terrain import pool; "
        f"pool.MEMORY_FOLDER = pathlib.Path({str(tmp_path)!r}); "
        "owned = pool.open_pool(32); print(owned.pool.folder, flush=True); os.kill(os.getpid(), 9)"
    )
    found = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    left = Path(found.stdout.strip())
    assert left.exists()
    monkeypatch.setattr(pool, "MEMORY_FOLDER", tmp_path)
    with_next = pool.open_pool(32)
    assert with_next is not None
    assert not left.exists()
    with_next.close()


def pools_of(pid: int) -> list[Path]:
    return [found for root in FOLDERS if root.is_dir() for found in root.glob(f"{pool.NAME}{pid}-*")]


@pytest.mark.parametrize("end", [None, signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_no_litter_however_a_batch_ends(end: signal.Signals | None, tmp_path: Path) -> None:
    """Finished, interrupted, or killed with nobody left but the workers; a worker is killed first each time."""
    process = subprocess.Popen(
        [sys.executable, fake_batch.__file__, str(tmp_path / "s.sqlite"), "30" if end is None else "30000", "2"],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,
    )
    assert process.stdout is not None
    with process:
        pids = [int(word) for word in process.stdout.readline().split()]
        assert len(pools_of(process.pid)) == 1
        os.kill(pids[0], signal.SIGKILL)
        time.sleep(0.5)
        if end is not None:
            process.send_signal(end)
        process.wait(timeout=120)
    until = time.monotonic() + 60.0  # a worker that outlives the owner needs a moment to notice
    while pools_of(process.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert pools_of(process.pid) == []
