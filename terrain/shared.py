"""One copy of an obstacle for all processes of a machine: a file that is mapped, not read.

The file holds a line of JSON, then the heights, then the coarse map, as they lie in memory. Whoever maps it shares the
pages with everybody else who does; a process that wrote would get private copies of the pages it touched.
"""

from __future__ import annotations

import json
import mmap
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle, Pose

ALIGNED = 64
"""Bytes; heights and coarse map begin at whole multiples, as vector registers like it."""
PREFIX = 16
"""Bytes for the length of the JSON line."""


def size(obstacle: Obstacle) -> int:
    """Bytes that :func:`write` takes, within a page."""
    return int(obstacle.ground.z.nbytes + obstacle.ground.coarse.nbytes + mmap.PAGESIZE)


def write(obstacle: Obstacle, file: BinaryIO) -> None:
    """Write an obstacle so that :func:`attach` can map it; raise OSError when there is no room."""
    ground = obstacle.ground
    text = json.dumps(_header(obstacle)).encode("ascii")
    text += b" " * (-(PREFIX + len(text)) % ALIGNED)
    file.write(b"%*d" % (PREFIX, len(text)) + text)
    for values in (ground.z, ground.coarse):
        file.write(np.ascontiguousarray(values).data)
        file.write(b"\0" * (-values.nbytes % ALIGNED))


def attach(path: Path) -> Obstacle:
    """Map an obstacle: no copy, and ordinary arrays to whoever uses them.

    The memory lives as long as the obstacle does, even when the file is removed. Raises OSError when it is not there.
    """
    with path.open("rb") as file:
        length = int(file.read(PREFIX))
        header = json.loads(file.read(length))
        # Copy-on-write rather than read-only: compiled kernels take arrays that may be written.
        pages = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_COPY)
    begin = PREFIX + length
    z = np.frombuffer(pages, np.float64, _count(header["shape"]), begin).reshape(header["shape"])
    begin += z.nbytes + -z.nbytes % ALIGNED
    coarse = np.frombuffer(pages, np.float64, _count(header["coarse"]), begin).reshape(header["coarse"])
    known = header["obstacle"]
    return Obstacle(
        **known
        | {
            "ground": Heightfield.mapped(z, coarse, tuple(header["origin"]), header["spacing"]),
            "start": Pose(*header["start"]),
            "lane": np.array(header["lane"], dtype=np.float64).reshape(-1, 2),
            "crux": tuple(known["crux"]),
        }
    )


def _count(shape: list[int]) -> int:
    return int(np.prod(shape))


def _header(obstacle: Obstacle) -> dict[str, Any]:
    """All but the large arrays; JSON keeps a float64 to the bit."""
    ground, start = obstacle.ground, obstacle.start
    return {
        "shape": list(ground.z.shape),
        "coarse": list(ground.coarse.shape),
        "origin": [float(value) for value in ground.origin],
        "spacing": float(ground.spacing),
        "start": [float(value) for value in (start.x, start.y, start.heading)],
        "lane": obstacle.lane.tolist(),
        "obstacle": {
            "family": obstacle.family,
            "level": obstacle.level,
            "unit": obstacle.unit,
            "finish_s": float(obstacle.finish_s),
            "lane_half_width": float(obstacle.lane_half_width),
            "crux": [float(value) for value in obstacle.crux],
            "descending": bool(obstacle.descending),
            "detail": obstacle.detail,
        },
    }
