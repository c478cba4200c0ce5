"""NumPy arrays inside a zip archive, with every size known from the headers before anything is unpacked."""

from __future__ import annotations

import tokenize
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from terrain.errors import TerrainError
from terrain.heightfield import MAX_NODES

SMALL = 4096
"""Bytes that a few numbers take with their header."""
ENCRYPTED = 0x1
BROKEN = (OSError, ValueError, KeyError, EOFError, TypeError, IndexError, OverflowError, RuntimeError, MemoryError,
          NotImplementedError, SyntaxError, tokenize.TokenError, zipfile.BadZipFile, zlib.error)
"""What damaged archives and arrays make the readers raise."""


def members(path: Path) -> Mapping[str, int]:
    """Arrays by name and the bytes that they unpack to, as the archive's own list says.

    :raises TerrainError: Damaged, or locked with a password.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    except BROKEN as error:
        raise TerrainError(f"not an archive of arrays ({type(error).__name__})", file=path) from None
    if any(entry.flag_bits & ENCRYPTED for entry in entries):
        raise TerrainError("is locked with a password", file=path, remedy="save it without one")
    return {entry.filename.removesuffix(".npy"): entry.file_size for entry in entries if entry.filename[-4:] == ".npy"}


def array(path: Path, name: str, most_values: int = MAX_NODES) -> NDArray[np.generic]:
    """One array of an archive.

    :raises TerrainError: More values than allowed, by its header or by what it unpacks to; damaged, or not an array.
    """
    try:
        with zipfile.ZipFile(path) as archive, archive.open(f"{name}.npy") as file:
            version = np.lib.format.read_magic(file)
            readers = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}
            shape, _, dtype = readers[version](file)
            if dtype.hasobject:
                raise TerrainError("holds objects instead of numbers", file=path, field=name)
            count = 1
            for side in shape:
                count *= int(side)
            size = archive.getinfo(f"{name}.npy").file_size
            if count > most_values or count * dtype.itemsize > size:
                raise TerrainError(f"promises {count} values, at most {most_values} are read", file=path, field=name,
                                   remedy="crop it or use a coarser spacing")  # fmt: skip
        with np.load(path, allow_pickle=False) as data:
            return np.asarray(data[name])
    except TerrainError:
        raise
    except BROKEN as error:
        raise TerrainError(f"damaged ({type(error).__name__})", file=path, field=name, remedy="save it again") from None


def number(path: Path, name: str) -> float:
    """A single real number of an archive; errors as for :func:`array`."""
    value = array(path, name, SMALL)
    if value.size != 1 or value.dtype.kind not in "fiu":
        raise TerrainError("must be one number", file=path, field=name, value=f"{value.dtype}{value.shape}")
    return float(value.reshape(()).item())
