"""Names of obstacles that come from a file: the path, and ``#`` with a hash of what the file holds."""

from __future__ import annotations

import hashlib
from pathlib import Path

from terrain.errors import TerrainError
from terrain.regular_file import read_regular

GROUND, COURSE = ".npz", ".toml"
HASH_MARK = "#"
HASH_DIGITS = 16
LARGEST = 250_000_000
"""Bytes of a ground or course file: all heights that are allowed, in double precision and not compressed."""


def names_file(text: str) -> bool:
    """Whether a family name is the path of a ground or course file."""
    return path_of(text).suffix.lower() in (GROUND, COURSE)


def path_of(name: str) -> Path:
    """The path in a name, without the hash."""
    return Path(name.partition(HASH_MARK)[0])


def short_name(name: str) -> str:
    """The file's own name, for people: no folder, no hash, no ending."""
    file = path_of(name).name
    return file.removesuffix(GROUND).removesuffix(COURSE).removesuffix(".ground")


def without_folder(obstacle: str) -> str:
    """An obstacle as it is, but a file by its own name and hash wherever it lies."""
    name, comma, rest = obstacle.partition(",")
    path, mark, given = name.partition(HASH_MARK)
    return (Path(path).name + mark + given if names_file(name) else name) + comma + rest


def full_name(text: str) -> str:
    """The path with the hash of the file's content.

    Raises TerrainError when the file is not there, or when a hash that was given is not its hash any more.
    """
    path, mark, given = text.partition(HASH_MARK)
    found = hashlib.sha256(read_regular(Path(path), LARGEST)).hexdigest()[:HASH_DIGITS]
    if mark and given != found:
        raise TerrainError(
            "has changed since its name was written", file=path, value=given, remedy="leave out # and what follows"
        )
    return f"{path}{HASH_MARK}{found}"


def depends_on_seed(name: str, roughness_mm: float | None) -> bool:
    """Whether a seed changes the ground: not that of a scan to which no texture is added."""
    return path_of(name).suffix.lower() != GROUND or bool(roughness_mm)
