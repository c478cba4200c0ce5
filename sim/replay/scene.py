"""Ground and trucks of a moment as lit triangles, painted through a camera."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.replay.camera import Camera
from sim.replay.clip import Clip
from sim.replay.ground_mesh import MOST_LINES, GroundMesh, ground_mesh
from sim.replay.raster import GLASS, SOLID, VEIL, fill
from sim.replay.solid import Solid
from sim.replay.truck_shape import Rod
from terrain.heightfield import sample
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
Colours = NDArray[np.uint8]
LIGHT = np.array([-0.45, -0.5, 0.8]) / math.sqrt(0.45**2 + 0.5**2 + 0.8**2)
"""Towards the light: behind, right, above; the side that the side view shows is lit."""
AMBIENT = 0.45
SHADE = 0.42
"""How much the ground darkens right under a truck."""
ROD_SIDES = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]], dtype=np.float64)
ROD_FACES = np.array([f for i in range(4) for n in [(i + 1) % 4] for f in ([i, n, n + 4], [i, n + 4, i + 4])])
CROSSWISE = 24
"""Pieces of the finish line."""
STRIP = np.array([f for i in range(CROSSWISE) for n in [i + CROSSWISE + 1] for f in ([i, i + 1, n + 1], [i, n + 1, n])])


def rgb(tone: str) -> Array:
    """Colour (3,) 0 to 255 of a hexadecimal text."""
    return np.array([int(tone[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float64)


def lit(tone: Array, normals: Array) -> Array:
    """Tones (m, 3) or (3,) under the light, by unit normals (m, 3)."""
    lambert = np.clip(normals @ LIGHT, 0.0, 1.0)
    sky = 0.5 + 0.5 * normals[:, 2]
    return np.clip(tone * (AMBIENT * (0.55 + 0.45 * sky) + (1.12 - AMBIENT) * lambert)[:, None], 0.0, 255.0)


@dataclass(frozen=True)
class LitGround:
    """Ground triangles in the world with their light."""

    vertices: Array
    faces: NDArray[np.int64]
    colours: Array
    """(m, 3) 0 to 255."""
    centres: Array
    """(m, 3) m."""


def mesh_of(clips: Sequence[Clip], most: tuple[int, int] = MOST_LINES) -> GroundMesh:
    """Mesh of the ground that some clips share, as far as any of the trucks went."""
    went = np.concatenate([clip.trace.base[:, :2] for clip in clips])
    return ground_mesh(clips[0].obstacle, 1.6 * clips[0].actor.shape.length, went, most)


def ground(clips: Sequence[Clip], tones: Mapping[str, str], most: tuple[int, int] = MOST_LINES) -> LitGround:
    """Triangles of clips' ground; beyond the lane it is darker, and the finish line is white."""
    found, mesh = clips[0], mesh_of(clips, most)
    vertices, faces = triangles(mesh)
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    centres = corners.mean(axis=1)
    tone = np.broadcast_to(rgb(tones["rock"]), centres.shape).copy()
    _, aside = lane_places(found.obstacle.lane, centres[:, :2])
    tone[np.abs(aside) > found.obstacle.lane_half_width] *= 0.9
    line = finish_line(found.obstacle, 0.02 * found.actor.shape.length)
    faces = np.concatenate([faces, STRIP + len(vertices)])
    colours = np.concatenate([lit(tone, normals), np.full((len(STRIP), 3), 246.0)])
    centres = np.concatenate([centres, line[STRIP].mean(axis=1)])
    return LitGround(np.concatenate([vertices, line]), faces, colours, centres)


def finish_line(obstacle: Obstacle, half: float) -> Array:
    """Strip of ``2 * (CROSSWISE + 1)`` points (m) over the finish line, ``half`` to either side of it."""
    lane, reach = obstacle.lane, obstacle.lane_half_width
    steps = np.hypot(*np.diff(lane, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    k = int(np.clip(np.searchsorted(run, obstacle.finish_s) - 1, 0, len(steps) - 1))
    unit = (lane[k + 1] - lane[k]) / steps[k]
    middle = lane[k] + (obstacle.finish_s - run[k]) * unit
    across = np.linspace(reach, -reach, CROSSWISE + 1)[:, None] * np.array([-unit[1], unit[0]])
    flat = np.concatenate([middle - half * unit + across, middle + half * unit + across])
    return np.column_stack([flat, sample(obstacle.ground, flat[:, 0], flat[:, 1]) + 0.15 * half])


def triangles(mesh: GroundMesh) -> tuple[Array, NDArray[np.int64]]:
    """Vertices (n, 3) and faces (m, 3) of a height grid, upper side out."""
    nx, ny = mesh.z.shape
    x, y = np.meshgrid(mesh.x, mesh.y, indexing="ij")
    vertices = np.stack([x, y, mesh.z], axis=-1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(nx - 1), np.arange(ny - 1), indexing="ij")
    a, b = (i * ny + j).ravel(), ((i + 1) * ny + j).ravel()
    return vertices, np.concatenate([np.stack([a, b, b + 1], axis=1), np.stack([a, b + 1, a + 1], axis=1)])


def lane_places(lane: Array, points: Array) -> tuple[Array, Array]:
    """Distance along the lane (n,) and to its left (n,) of points (n, 2), m; its ends go straight on."""
    along, aside = np.zeros(len(points)), np.full(len(points), np.inf)
    run = 0.0
    stretches = len(lane) - 1
    for i in range(stretches):
        d = lane[i + 1] - lane[i]
        size = float(np.hypot(*d))
        if size == 0.0:
            continue
        unit = d / size
        t = (points - lane[i]) @ unit
        t = np.clip(t, -np.inf if i == 0 else 0.0, np.inf if i == stretches - 1 else size)
        gap = points - lane[i] - t[:, None] * unit
        side = unit[0] * gap[:, 1] - unit[1] * gap[:, 0]
        distance = np.hypot(gap[:, 0], gap[:, 1])
        closer = distance < np.abs(aside) - 1e-12
        along = np.where(closer, run + t, along)
        aside = np.where(closer, np.where(side < 0.0, -distance, distance), aside)
        run += size
    return along, aside


Triangles = tuple[Array, NDArray[np.int64], Array]
"""World vertices (n, 3), faces (m, 3) and lit colours (m, 3)."""


def truck(found: Clip, frame: int, tones: Mapping[str, str], shell: str, inside: bool = False) -> list[Triangles]:
    """A truck at one sample of its clip: what hides, and with a look ``inside`` the shell of glass as the second."""
    shape = found.actor.shape
    if not inside:
        return [_triangles(found, frame, tones, shell, shape.solids, shape.rods)]
    glass = [s for s in shape.solids if s.tone in ("shell", "cab")]
    solid = [s for s in shape.solids if s.tone not in ("shell", "cab")]
    return [_triangles(found, frame, tones, shell, [*solid, *shape.inside], shape.rods),
            _triangles(found, frame, tones, shell, glass, [])]


def _triangles(
    found: Clip, frame: int, tones: Mapping[str, str], shell: str, solids: Sequence[Solid], rods: Sequence[Rod]
) -> Triangles:
    rotation, origin = found.poses.rotation[frame], found.poses.origin[frame]
    vertices: list[Array] = []
    faces: list[NDArray[np.int64]] = []
    colours: list[Array] = []
    count = 0

    def add(points: Array, corners: NDArray[np.int64], tone: str) -> None:
        nonlocal count
        triangle = points[corners]
        normals = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-30)
        colour = rgb(shell) if tone == "shell" else 0.55 * rgb(shell) + 110.0 if tone == "cab" else rgb(tones[tone])
        vertices.append(points)
        faces.append(corners + count)
        colours.append(lit(colour, normals))
        count += len(points)

    for s in solids:
        add(s.vertices @ rotation[s.body].T + origin[s.body], s.faces, s.tone)
    for rod in rods:
        a, b = (rotation[k] @ p + origin[k] for k, p in zip(rod.bodies, rod.ends, strict=True))
        add(_prism(a, b, rod.radius), ROD_FACES, rod.tone)
    if not vertices:
        return np.empty((0, 3)), np.empty((0, 3), dtype=np.int64), np.empty((0, 3))
    return np.concatenate(vertices), np.concatenate(faces), np.concatenate(colours)


def _prism(a: Array, b: Array, radius: float) -> Array:
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-12)
    side = np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    ring = radius * (ROD_SIDES[:, :1] * side + ROD_SIDES[:, 1:] * np.cross(along, side))
    return np.concatenate([a + ring, b + ring])


def shaded(bed: LitGround, found: Clip, frame: int) -> Array:
    """Ground colours with the dark patch under the truck."""
    middle = found.poses.rotation[frame, 0] @ [0.5 * found.actor.shape.length, 0.0, 0.0] + found.poses.origin[frame, 0]
    forward = found.poses.rotation[frame, 0][:2, 0]
    # A truck that stands on its tail has no heading; the patch is round then, near enough.
    forward = forward / max(float(np.hypot(*forward)), 1e-6)
    d = bed.centres[:, :2] - middle[:2]
    along = (d @ forward) / (0.72 * found.actor.shape.length)
    aside = (d @ np.array([-forward[1], forward[0]])) / (0.48 * found.actor.shape.length)
    dark = 1.0 - SHADE * np.exp(-((along**2 + aside**2) ** 2))
    return bed.colours * dark[:, None]


@dataclass(frozen=True)
class Lit:
    """Triangles ready to be painted from anywhere."""

    vertices: Array
    faces: NDArray[np.int64]
    colours: Colours
    how: int
    """SOLID, VEIL or GLASS of :mod:`sim.replay.raster`."""


def moment(bed: LitGround, cast: Sequence[tuple[Clip, int, str, bool]], tones: Mapping[str, str]) -> list[Lit]:
    """The ground and every (clip, sample, shell colour, whether a ghost) at one moment; the first one leads.

    One looks inside every truck but a ghost.
    """
    first, frame, _, _ = cast[0]
    out = [Lit(bed.vertices, bed.faces, shaded(bed, first, frame).astype(np.uint8), SOLID)]
    for clip, at, shell, ghost in cast:
        for k, (vertices, faces, lights) in enumerate(truck(clip, at, tones, shell, not ghost)):
            out.append(Lit(vertices, faces, lights.astype(np.uint8), VEIL if ghost else GLASS if k else SOLID))
    return sorted(out, key=lambda thing: thing.how == GLASS)


def paint(camera: Camera, size: tuple[int, int], lit_things: Sequence[Lit], sky: str) -> Colours:
    """Picture (h, w, 3) of a moment; ``size`` is width and height in pixels."""
    width, height = size
    image = np.empty((height, width, 3), dtype=np.uint8)
    image[:] = rgb(sky).astype(np.uint8)
    nearness = np.zeros((height, width), dtype=np.float32)
    for thing in lit_things:
        fill(camera.project(thing.vertices), thing.faces, thing.colours, image, nearness, thing.how)
    return image
