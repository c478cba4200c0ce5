"""Triangle meshes as ground and ground as triangle meshes."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from terrain.errors import TerrainError
from terrain.heightfield import Heightfield, check_size
from terrain.intake import GLTF, MOST_FILLED, Intake, check_plausible
from terrain.mesh_header import check_promise
from terrain.raster import Progress, rasterise
from terrain.whole_file import whole

SUFFIXES = (".stl", ".obj", ".ply", ".glb", ".gltf", ".off")
MAX_TRIANGLES = 20_000_000
Vertices = NDArray[np.float64]
Faces = NDArray[np.int64]


def read_mesh(path: Path) -> tuple[Vertices, Faces]:
    """Read all triangles of a file in its own units; raise TerrainError when there are none to use."""
    remedy = "export it again as STL, OBJ, PLY or GLB with triangles"
    if path.stat().st_size == 0:
        raise TerrainError("the file is empty", file=path, remedy=remedy)
    check_promise(path, 3 * MAX_TRIANGLES)
    try:
        mesh = trimesh.load_mesh(path, process=False, skip_materials=True)
        vertices, faces = np.asarray(mesh.vertices, np.float64), np.asarray(mesh.faces, np.int64)
    except MemoryError:
        raise TerrainError("too large for this machine's memory", file=path, remedy="thin it out first") from None
    except Exception as error:  # The readers raise whatever a broken file makes them stumble over.
        raise TerrainError(f"not a mesh that can be read ({type(error).__name__})", file=path, remedy=remedy) from error
    if faces.ndim != 2 or len(faces) == 0:
        raise TerrainError("holds no triangles (a point cloud?)", file=path, remedy="mesh it in the scanning program")
    if len(faces) > MAX_TRIANGLES:
        raise TerrainError(f"holds {len(faces)} triangles, above the limit of {MAX_TRIANGLES}", file=path,
                           remedy="thin it out first")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise TerrainError("triangles refer to points that are not there", file=path, remedy=remedy)
    if not np.isfinite(vertices).all():
        raise TerrainError("some points are not numbers", file=path, remedy="repair or export it again")
    if not _area(vertices, faces) > 0.0:
        raise TerrainError("all triangles are of zero area", file=path, remedy=remedy)
    return vertices, faces


def _area(vertices: Vertices, faces: Faces) -> float:
    """Total area of the triangles."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def turned(vertices: Vertices, up: str, turn_deg: float) -> Vertices:
    """Points with ``up`` made +z (cyclic order of the axes kept) and turned about z."""
    axis = "xyz".index(up[-1])
    p = vertices[:, [(axis + 1) % 3, (axis + 2) % 3, axis]]
    if up.startswith("-"):
        # Half a turn about the new x axis, so that left and right are not swapped.
        p = p * [1.0, -1.0, -1.0]
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.asarray(p @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]))


def thinned(vertices: Vertices, faces: Faces, cluster: float) -> tuple[Vertices, Faces]:
    """Merge points that share a cube of side ``cluster`` m into their mean and drop triangles that collapse."""
    cube = np.floor(vertices / cluster).astype(np.int64)
    _, index = np.unique(cube, axis=0, return_inverse=True)
    index = index.ravel()
    count = np.bincount(index)
    merged = np.column_stack([np.bincount(index, vertices[:, k]) / count for k in range(3)])
    new = index[faces]
    kept = (new[:, 0] != new[:, 1]) & (new[:, 1] != new[:, 2]) & (new[:, 2] != new[:, 0])
    return merged, np.ascontiguousarray(new[kept])


def mesh_heights(
    path: Path, intake: Intake, cell: float, progress: Progress | None = None
) -> tuple[NDArray[np.float64], float, dict[str, Any]]:
    """Heights (nx, ny) of a mesh seen from above, m, nan beside it, their spacing, m, and what the report says of it.

    ``cell`` is the node spacing (m) when the intake names none. Raises TerrainError for anything that is not usable.
    """
    vertices, faces = read_mesh(path)
    if progress is not None:
        progress(0.3)
    suffix = path.suffix.lower()
    vertices = turned(vertices, intake.axis_up(suffix), intake.turn_deg) * intake.factor(suffix)
    total = len(faces)
    if intake.thin_mm > 0.0:
        vertices, faces = thinned(vertices, faces, intake.thin_mm / 1000.0)
    spacing = intake.spacing if intake.spacing is not None else cell
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces] = True
    x0, x1, y0, y1 = _box(path, vertices[used], intake)
    # A thousandth of a cell of slack: 32-bit files round a width that was a whole number of cells.
    shape = (int((x1 - x0) / spacing + 1e-3) + 1, int((y1 - y0) / spacing + 1e-3) + 1)
    check_size(shape)
    report_part = None if progress is None else lambda share: progress(0.3 + 0.6 * share)
    # That slack must not put the last row beside the mesh.
    pitch = min(spacing, (x1 - x0) / (shape[0] - 1), (y1 - y0) / (shape[1] - 1))
    z, hidden = rasterise(vertices, faces, (x0, y0), pitch, shape, report_part)
    missing = np.isnan(z).mean()
    if missing > MOST_FILLED:
        raise TerrainError(f"only {100 * (1 - missing):.0f} % of the ground's rectangle is covered by the mesh",
                           file=path, field="crop_mm", remedy="crop to the covered part, or check --up")
    return z, spacing, {
        "triangles": total,
        "triangles_used": len(faces),
        "overhang_percent": 100 * float((hidden > 0).mean()),
        "overhang_mm": 1000 * float(hidden.max()),
    }


def _box(path: Path, used: Vertices, intake: Intake) -> tuple[float, float, float, float]:
    """Plan box of the ground, m: the mesh's own, cropped."""
    low, high = used.min(axis=0), used.max(axis=0)
    size = high - low
    if intake.crop_mm is None:
        check_plausible(path, (float(size[0]), float(size[1]), float(size[2])))
        return float(low[0]), float(high[0]), float(low[1]), float(high[1])
    a, b, c, d = (0.001 * value for value in intake.crop_mm)
    x0, x1, y0, y1 = max(a, low[0]), min(b, high[0]), max(c, low[1]), min(d, high[1])
    if not (x0 < x1 and y0 < y1):
        span = ", ".join(f"{1000 * value:.4g}" for value in (low[0], high[0], low[1], high[1]))
        raise TerrainError("the crop misses the mesh", file=path, field="crop_mm", remedy=f"the mesh spans {span} mm")
    return float(x0), float(x1), float(y0), float(y1)


def surface(ground: Heightfield, base: float | None = None) -> tuple[Vertices, Faces]:
    """Triangles of the ground in m; with ``base`` (m under the lowest point) a closed block to print or mill."""
    nx, ny = ground.z.shape
    check_triangles(ground, base)
    x, y = np.meshgrid(ground.x, ground.y, indexing="ij")
    top = np.column_stack([x.ravel(), y.ravel(), ground.z.ravel()])
    node = np.arange(nx * ny).reshape(nx, ny)
    a, b, c, d = (part.ravel() for part in (node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    if base is None:
        return top, faces
    bottom = top.copy()
    bottom[:, 2] = ground.z.min() - base
    rim = np.concatenate([node[:, 0], node[-1, 1:], node[-2::-1, -1], node[0, -2:0:-1]])
    nxt = np.roll(rim, -1)
    under = nx * ny
    walls = np.concatenate([np.column_stack([rim, rim + under, nxt + under]), np.column_stack([rim, nxt + under, nxt])])
    return np.concatenate([top, bottom]), np.concatenate([faces, faces[:, ::-1] + under, walls])


def check_triangles(ground: Heightfield, base: float | None) -> None:
    """Raise TerrainError when the mesh of this ground would pass the triangle limit."""
    nx, ny = ground.z.shape
    count = 2 * (nx - 1) * (ny - 1) * (1 if base is None else 2)
    if count > MAX_TRIANGLES:
        raise TerrainError(f"the mesh would have {count} triangles, above {MAX_TRIANGLES}", field="every",
                           remedy="keep every 2nd node")


def export_mesh(ground: Heightfield, path: Path, *, base: float | None = None, every: int = 1) -> int:
    """Write STL, OBJ, PLY or GLB by the suffix; mm and z up (GLB: m and y up, as its standard says).

    Returns the triangle count.
    ``every`` keeps each k-th node (decimation); ``base`` as in :func:`surface`. The file appears only when whole.
    """
    thin = Heightfield.of(ground.z[::every, ::every], ground.origin, ground.spacing * every)
    vertices, faces = surface(thin, base)
    suffix = path.suffix.lower()
    points = vertices[:, [1, 2, 0]] if suffix in GLTF else 1000.0 * vertices
    mesh = trimesh.Trimesh(points, faces, process=False)
    with whole(path) as part:
        mesh.export(part)
    return len(faces)
