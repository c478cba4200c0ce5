"""What a mesh file promises, read from its header before a reader trusts it."""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from terrain.errors import TerrainError

MOST_HEADER = 64_000_000
"""Bytes of the description in a GLB or glTF file."""
_PLY = re.compile(rb"element\s+(\w+)\s+(\d+)")


def check_promise(path: Path, most: int) -> None:
    """Look at how many points and triangles a file promises.

    :raises TerrainError: More than ``most`` of anything, or numbers that stand nowhere in the file.
    """
    readers = {".glb": _glb, ".gltf": _gltf, ".ply": _ply, ".off": _off}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        return
    try:
        counts = list(reader(path))
    except TerrainError as error:
        raise TerrainError(error.what, file=path, field=error.field, value=error.value, remedy=error.remedy) from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, struct.error, RecursionError):
        raise TerrainError("the header cannot be read", file=path, remedy="export it again") from None
    for what, count in counts:
        if count > most:
            raise TerrainError(f"promises {count} {what}, above the limit of {most}", file=path,
                               remedy="thin it out first")  # fmt: skip


def _glb(path: Path) -> Iterable[tuple[str, int]]:
    with path.open("rb") as file:
        magic, _, _, length, kind = struct.unpack("<4sIII4s", file.read(20))
        if magic != b"glTF" or kind != b"JSON" or length > MOST_HEADER:
            raise TerrainError("not a GLB file", remedy="export it again")
        return _accessors(json.loads(file.read(length)))


def _gltf(path: Path) -> Iterable[tuple[str, int]]:
    if path.stat().st_size > MOST_HEADER:
        raise TerrainError("too large for a glTF description", remedy="export it as GLB")
    return _accessors(json.loads(path.read_bytes()))


def _accessors(tree: dict[str, Any]) -> list[tuple[str, int]]:
    views = tree.get("bufferViews", [])
    found = []
    for number, accessor in enumerate(tree.get("accessors", [])):
        count = int(accessor["count"])
        found.append(("values", count))
        if "bufferView" not in accessor and "sparse" not in accessor:
            raise TerrainError("promises values that stand nowhere in the file", field=f"accessor {number}",
                               value=count, remedy="export it again")  # fmt: skip
        if "bufferView" in accessor and count > int(views[accessor["bufferView"]]["byteLength"]):
            raise TerrainError("promises more values than there are bytes", field=f"accessor {number}", value=count,
                               remedy="export it again")  # fmt: skip
    return found


def _ply(path: Path) -> Iterable[tuple[str, int]]:
    with path.open("rb") as file:
        head = file.read(100_000).partition(b"end_header")[0]
    size = path.stat().st_size
    for name, digits in _PLY.findall(head):
        count = int(digits[:20])
        if count > size:
            raise TerrainError("promises more than there are bytes", field=name.decode("ascii", "replace"), value=count,
                               remedy="export it again")  # fmt: skip
        yield name.decode("ascii", "replace"), count


def _off(path: Path) -> Iterable[tuple[str, int]]:
    with path.open("rb") as file:
        words = file.read(2000).split()
    numbers = [int(word[:20]) for word in words[1:3] if word.isdigit()]
    size = path.stat().st_size
    if any(count > size for count in numbers):
        raise TerrainError("promises more than there are bytes", value=max(numbers), remedy="export it again")
    return [("points or triangles", count) for count in numbers]
