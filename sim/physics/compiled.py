"""The one decorator for compiled kernels, and where their machine code is kept.

Numba's own cache asks only whether the file of a function changed, not the files of what it calls. The cache folder
is therefore named after a hash of all kernel sources: an edited kernel can never meet stale code, a read-only
installation works, and each user has a folder of their own.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import config

from sim.physics.sources import hash_of, source_files

F = TypeVar("F", bound=Callable[..., Any])
ROOMS = ("physics", "trial")
"""Rooms of ``sim`` that hold kernels."""


def kernel_files() -> dict[str, Path]:
    """Modules whose contents are frozen into machine code: every kernel of these rooms and all that it imports."""
    here = Path(__file__).parents[1]
    paths = sorted(path for room in ROOMS for path in (here / room).glob("*.py"))
    kernels = [path for path in paths if "\n@kernel\n" in path.read_text(encoding="utf-8")]
    return source_files(*(f"sim.{path.parent.name}.{path.stem}" for path in kernels))


@cache
def source_hash() -> str:
    """Hash of all kernel sources, 16 hex digits."""
    return hash_of(kernel_files().items(), 16)


def _candidates() -> Iterator[Path]:
    """Where machine code may be kept, best first."""
    for name in ("CRAGBENCH_CACHE", "XDG_CACHE_HOME"):
        if os.environ.get(name):
            yield Path(os.environ[name])
    with suppress(RuntimeError):  # no home at all
        yield Path.home() / ".cache"
    owner = os.getuid() if hasattr(os, "getuid") else "user"
    yield Path(tempfile.gettempdir()) / f"cragbench-{owner}"


def cache_folder(candidates: Iterable[Path]) -> Path | None:
    """The first of some folders that can be made and written to and is the user's own; None without one.

    Machine code is loaded as it lies there, so a folder that somebody else owns is passed over.
    """
    for root in candidates:
        folder = root / "cragbench" / f"kernels-{source_hash()}"
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            mine = not hasattr(os, "getuid") or folder.stat().st_uid == os.getuid()
        except OSError:
            continue
        if mine and os.access(folder, os.W_OK):
            return folder
    return None


_folder = cache_folder(_candidates())
KEPT = _folder is not None or bool(os.environ.get("NUMBA_CACHE_DIR"))
"""Whether machine code is kept between runs; without a place for it, every start compiles anew."""
if _folder is not None and not os.environ.get("NUMBA_CACHE_DIR"):
    config.CACHE_DIR = str(_folder)


def kernel(function: F) -> F:
    """Compile without the interpreter; strict IEEE arithmetic, so equal inputs give equal bits."""
    return cast(F, numba.njit(cache=KEPT, error_model="numpy", fastmath=False)(function))


def unfolded(function: F) -> F:
    """A kernel that is written out in its caller before that is compiled.

    For the innermost steps: calls between compiled functions that take several arrays count references, which took
    longer than the work.
    """
    return cast(F, numba.njit(cache=KEPT, error_model="numpy", fastmath=False, inline="always")(function))
