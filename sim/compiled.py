"""The one decorator for compiled kernels, and where their machine code is kept.

Numba's own cache asks only whether the file of a function changed, not the files of what it calls. The cache folder
is therefore named after a hash of all kernel sources: an edited kernel can never meet stale code, a read-only
installation works, and each user has a folder of their own.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import config

F = TypeVar("F", bound=Callable[..., Any])

KERNEL_FILES = (
    "compiled.py",
    "drive_force.py",
    "dynamics.py",
    "forces.py",
    "ground.py",
    "hull_force.py",
    "kinematics.py",
    "layout.py",
    "margin.py",
    "observe.py",
    "rock_edge.py",
    "shock_force.py",
    "stepping.py",
    "tip_friction.py",
    "tyre_force.py",
    "tyre_grip.py",
    "tyre_patch.py",
    "vector.py",
)


def source_hash() -> str:
    """Hash of all kernel sources, 16 hex digits."""
    digest = hashlib.sha256()
    for name in KERNEL_FILES:
        digest.update((Path(__file__).parent / name).read_bytes())
    return digest.hexdigest()[:16]


def _cache_folder() -> Path:
    root = os.environ.get("CRAGBENCH_CACHE") or os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(root) / "cragbench" / f"kernels-{source_hash()}"


if not os.environ.get("NUMBA_CACHE_DIR"):
    config.CACHE_DIR = str(_cache_folder())


def kernel(function: F) -> F:
    """Compile without the interpreter; strict IEEE arithmetic, so equal inputs give equal bits."""
    return cast(F, numba.njit(cache=True, error_model="numpy", fastmath=False)(function))
