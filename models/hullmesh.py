"""A hull shape from a mesh file: the solid itself, and points over its outer skin."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import trimesh

from models.errors import BuildSheetError
from models.mesh_file import read_mesh_file
from models.spec import HullShape
from models.vector import Vector

NEAR = 0.12
"""Of the smallest extent: deeper than this below the convex hull lies inner skin or a wheel arch."""
SAMPLES = 900


def outer_skin(shape: HullShape) -> tuple[Vector, Vector]:
    """Points near the convex hull of a mesh (n, 3) in the sheet frame, m, and the outward unit normals there.

    Nearness to the convex hull serves open shells too.

    :raises BuildSheetError: see :func:`load_mesh`.
    """
    mesh = load_mesh(shape)
    sampled, faces = trimesh.sample.sample_surface(mesh, SAMPLES, seed=1)
    hull = _coarse_hull(np.asarray(mesh.vertices))
    offsets = np.sum(hull.face_normals * hull.triangles[:, 0], axis=1)
    depth = np.min(offsets - np.asarray(sampled) @ hull.face_normals.T, axis=1)
    outer = depth < NEAR * float(np.min(mesh.extents))
    places = np.asarray(sampled)[outer]
    normals = np.asarray(mesh.face_normals[faces])[outer]
    # Scanned shells come with faces turned either way: outward is away from the middle.
    away = np.sum(normals * (places - hull.centroid), axis=1)
    return places, np.where(away[:, None] >= 0.0, normals, -normals)


def _coarse_hull(vertices: Vector, directions: int = 400) -> trimesh.Trimesh:
    """Convex hull of the vertices that lie farthest out in some hundred directions: enough to tell skin from inside."""
    k = np.arange(directions) + 0.5
    height, around = 1.0 - 2.0 * k / directions, math.pi * (1.0 + math.sqrt(5.0)) * k
    flat = np.sqrt(1.0 - height**2)
    ways = np.stack([flat * np.cos(around), flat * np.sin(around), height], axis=1)
    farthest = [int(np.argmax(vertices @ way)) for way in ways]
    return trimesh.Trimesh(vertices[np.unique(farthest)]).convex_hull


def load_mesh(shape: HullShape) -> trimesh.Trimesh:
    """Read a mesh shape (sheet frame, m): the middle of its bounds at ``at_mm``, stretched to ``size_mm`` if given.

    :raises BuildSheetError: the file cannot be read as a surface.
    """
    data = read_mesh_file(shape)
    try:
        mesh = trimesh.load_mesh(io.BytesIO(data), file_type=Path(shape.file or "").suffix[1:].lower(), process=True)
        usable = len(mesh.faces) > 0 and bool(np.all(mesh.extents > 0.0))
    except Exception as fault:  # readers of many formats raise whatever they like
        raise BuildSheetError(f"the mesh cannot be read ({type(fault).__name__}).",
                              remedy="Export it again as STL or OBJ in millimetres.", field="hull.file",
                              value=shape.file) from None
    if not usable:
        raise BuildSheetError(
            "the mesh holds no solid surface.",
            remedy="Export the part as STL or OBJ in millimetres, with a size in all three directions.",
            field="hull.file", value=shape.file,
        )
    size = np.array(shape.size_mm)
    stretch = np.where(size > 0.0, size / mesh.extents, 1.0)
    vertices = (np.asarray(mesh.vertices) - mesh.bounds.mean(axis=0)) * stretch + shape.at_mm
    return trimesh.Trimesh(vertices / 1000.0, mesh.faces, process=False)
