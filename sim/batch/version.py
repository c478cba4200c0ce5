"""What computed a result: a hash of the sources that it can depend on, and the libraries under them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from models.rigid import RigidModel
from sim.physics.sources import hash_of, source_files
from sim.trial.task import Versions

LIBRARIES = ("numba", "numpy", "scipy")
"""What turns the sources into arithmetic; scipy makes ground."""


@cache
def versions(entry: str = "sim.trial.perform") -> Versions:
    """Versions behind the results of ``entry``, a module's full name.

    The code version covers every source file of this project that ``entry`` imports, directly or not, so that an
    edit of a chart or of the store leaves finished trials valid and an edit of the physics does not.
    """
    engine = " ".join(f"{name} {_installed(name)}" for name in LIBRARIES)
    return Versions(code=hash_of(source_files(entry).items(), 12), engine=engine)


def versions_of(trucks: Mapping[str, RigidModel]) -> Versions:
    """The same, with the content of every truck that is driven; hashed when first asked for."""
    return replace(versions(), models=_ModelHashes(trucks))


class _ModelHashes(Mapping[str, str]):
    def __init__(self, trucks: Mapping[str, RigidModel]) -> None:
        self._trucks = trucks
        self._known: dict[str, str] = {}

    def __getitem__(self, config: str) -> str:
        if config not in self._known:
            self._known[config] = model_hash(self._trucks[config])
        return self._known[config]

    def __iter__(self) -> Iterator[str]:
        return iter(self._trucks)

    def __len__(self) -> int:
        return len(self._trucks)


def model_hash(model: RigidModel) -> str:
    """Short hash over every number that the simulation reads of a truck; its names are no part of it."""
    digest = hashlib.sha256()
    _digest(digest, replace(model, name="", config_hash=""))
    return digest.hexdigest()[:16]


def _digest(digest: hashlib._Hash, value: Any) -> None:
    if is_dataclass(value):
        for one in fields(value):
            digest.update(one.name.encode() + b"=")
            _digest(digest, getattr(value, one.name))
    elif isinstance(value, np.ndarray):
        digest.update(f"{value.dtype}{value.shape}".encode() + np.ascontiguousarray(value).tobytes())
    elif isinstance(value, tuple | list):
        digest.update(f"[{len(value)}".encode())
        for one in value:
            _digest(digest, one)
    else:
        digest.update(f"{value!r};".encode())


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"
