"""What computed a result: a hash of the sources that it can depend on, and the libraries under them."""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, version

from sim.physics.sources import hash_of, source_files
from sim.trial.task import Versions

LIBRARIES = ("numba", "numpy")
"""What turns the sources into arithmetic."""


@cache
def versions(entry: str = "sim.trial.perform") -> Versions:
    """Versions behind the results of ``entry``, a module's full name.

    The code version covers every source file of this project that ``entry`` imports, directly or not, so that an
    edit of a chart or of the store leaves finished trials valid and an edit of the physics does not.
    """
    engine = " ".join(f"{name} {_installed(name)}" for name in LIBRARIES)
    return Versions(code=hash_of(source_files(entry).items(), 12), engine=engine)


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"
