"""Plain solids as triangles: chamfered boxes, lateral cylinders and tyres, for drawing only."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import trimesh
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True)
class Solid:
    """Triangles that ride on one body, all of one tone."""

    body: int
    tone: str
    """Name of a tone in sim.chart.style.SCENE."""
    vertices: Array
    """(n, 3) m, body frame."""
    faces: Faces
    """(m, 3), anticlockwise seen from outside."""

    def moved(self, by: ArrayLike) -> Solid:
        """The same solid, shifted (3,) m."""
        return replace(self, vertices=self.vertices + np.asarray(by, dtype=np.float64))


def box(body: int, tone: str, centre: ArrayLike, size: ArrayLike, chamfer: float = 0.14) -> Solid:
    """Box (full extents, m) whose edges are cut by a share of its smallest half extent."""
    half = np.maximum(np.asarray(size, dtype=np.float64) / 2.0, 2.5e-4)
    cut = chamfer * float(half.min())
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64)
    points = np.concatenate([corners * (half - cut * (1 - np.eye(3)[axis])) for axis in range(3)])
    return _hull(body, tone, points + np.asarray(centre, dtype=np.float64))


def cylinder(body: int, tone: str, centre: ArrayLike, size: ArrayLike, sides: int = 14) -> Solid:
    """Cylinder on a lateral axis (y); full extents, m."""
    half = np.maximum(np.asarray(size, dtype=np.float64) / 2.0, 2.5e-4)
    angle = np.arange(sides) * 2.0 * np.pi / sides
    ring = np.stack([np.cos(angle) * half[0], np.zeros(sides), np.sin(angle) * half[2]], axis=1)
    points = np.concatenate([ring + [0.0, side * half[1], 0.0] for side in (-1.0, 1.0)])
    return _hull(body, tone, points + np.asarray(centre, dtype=np.float64))


def mesh(body: int, tone: str, surface: trimesh.Trimesh, shift: ArrayLike) -> Solid:
    """Convex outer form of a mesh (sheet frame, m): what is seen of a shell from outside."""
    hull = surface.convex_hull
    return Solid(body, tone, np.asarray(hull.vertices) - np.asarray(shift), np.asarray(hull.faces, dtype=np.int64))


def wheel(body: int, radius: float, rim_radius: float, width: float, crown: float, lugs: int = 18) -> list[Solid]:
    """Tyre with lugs that show its turning, and the wheel inside it; axis y, centred in the body frame, m."""
    tread = [_ring_band(body, radius, rim_radius, width, crown, lugs, part) for part in (0, 1)]
    return [*tread, *_rim(body, rim_radius, width)]


def _ring_band(
    body: int, radius: float, rim_radius: float, width: float, crown: float, lugs: int, part: int
) -> Solid:
    """Lugs at full radius on every other segment (part 0), or the whole carcass a little lower (part 1)."""
    outer = radius if part == 0 else radius - 0.045 * radius
    half = width / 2.0 if part == 0 else 0.49 * width
    middle = 0.5 * (rim_radius + outer)
    profile = np.array([
        [-0.8 * half, rim_radius],
        [-half, middle],
        [-0.86 * half, outer - crown],
        [0.0, outer],
        [0.86 * half, outer - crown],
        [half, middle],
        [0.8 * half, rim_radius],
    ])
    step = np.pi / lugs
    vertices: list[Array] = []
    faces: list[list[int]] = []
    for k in range(0, 2 * lugs, 2 if part == 0 else 1):
        begin = len(vertices) * len(profile)
        for angle in (k * step, (k + 1) * step):
            vertices.append(
                np.stack([profile[:, 1] * np.cos(angle), profile[:, 0], profile[:, 1] * np.sin(angle)], axis=1)
            )
        for i in range(len(profile) - 1):
            a, b = begin + i, begin + len(profile) + i
            faces += [[a, b + 1, b], [a, a + 1, b + 1]]
    return Solid(body, "tyre" if part == 0 else "gap", np.concatenate(vertices), np.array(faces, dtype=np.int64))


def _rim(body: int, radius: float, width: float) -> list[Solid]:
    """Two discs with five light spokes on a dark ground."""
    out = []
    for side in (-1.0, 1.0):
        y = side * 0.34 * width
        for tone, spokes, reach, lift in (("gap", 20, 1.0, 0.0), ("rim", 5, 0.94, 0.012 * width)):
            angle = np.arange(2 * spokes) * np.pi / spokes
            points = np.stack(
                [reach * radius * np.cos(angle), np.full(2 * spokes, y + side * lift), reach * radius * np.sin(angle)],
                axis=1,
            )
            vertices = np.concatenate([[[0.0, y + side * lift, 0.0]], points])
            every = 1 if tone == "gap" else 2
            faces = [[0, 1 + i, 1 + (i + 1) % (2 * spokes)] for i in range(0, 2 * spokes, every)]
            turned = [face[::-1] for face in faces] if side > 0.0 else faces
            out.append(Solid(body, tone, vertices, np.array(turned, dtype=np.int64)))
    return out


def _hull(body: int, tone: str, points: Array) -> Solid:
    form = trimesh.convex.convex_hull(points)
    return Solid(body, tone, np.asarray(form.vertices), np.asarray(form.faces, dtype=np.int64))
