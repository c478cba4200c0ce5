"""The mesh file of a hull shape, read whole: a regular file of a known kind and of bounded size, before any parser."""

from __future__ import annotations

import stat
from pathlib import Path

from models.errors import BuildSheetError
from models.key import join
from models.spec import HullShape

KINDS = (".stl", ".obj")
"""Kinds whose readers take no more memory than the file is long, times a small number."""
LARGEST = 64_000_000
"""Bytes: more than a million triangles, while a hull needs some thousand."""


def read_mesh_file(shape: HullShape) -> bytes:
    """Return the bytes of ``shape.file``.

    :raises BuildSheetError: not STL or OBJ, not there, not a regular file (a pipe never ends), too large, unreadable.
    """
    file = Path(shape.file or "")
    if file.suffix.lower() not in KINDS:
        raise _fault(shape, "the mesh is neither an STL nor an OBJ file.")
    try:
        found = file.stat()
        if not stat.S_ISREG(found.st_mode):
            raise _fault(shape, "the mesh is not a regular file.")
        if found.st_size > LARGEST:
            raise _fault(shape, f"the mesh has {found.st_size / 1e6:.0f} MB, more than {LARGEST / 1e6:.0f}.")
        with file.open("rb") as opened:
            return opened.read(LARGEST + 1)
    except OSError as fault:
        raise _fault(shape, f"the mesh cannot be read: {fault.strerror}.") from None


def _fault(shape: HullShape, what: str) -> BuildSheetError:
    return BuildSheetError(what, remedy="Give the full path of an STL or OBJ file, in millimetres.",
                           field=join(["hull", shape.name, "file"]), value=shape.file)
