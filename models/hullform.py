"""The hard hull as feelers: points over the skin of skid, axle housings, bumpers, links and body shell.

A feeler is a short segment from inside a shape to its skin. The ground shortens it along its own direction, so a
bumper pressed against a vertical face is pushed back and not up. Points that cannot touch anything first are left
out: inside or covered by another shape, or facing the middle of the truck.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from models.ends import ends
from models.required import required
from models.spec import Axle, HullShape, Sheet
from models.vector import Vector

MOST = 88
"""Feelers on one truck: what the simulation's step can afford."""
DEPTH = 0.05
"""Least length of a feeler over the wheelbase."""
ROD_RADIUS = 0.012
"""Of a link, over the wheelbase (assumed: 3 mm rod on a small truck, 7 mm on a 1/10)."""
ROD_GRIP = 0.4
"""Plastic or metal on rock (assumed)."""
_FINEST = 1.0 / 12.0
_HALVINGS = 9
_OTHER = 0.4
"""How close points of different shapes may come, over the distance kept within one."""


@dataclass(frozen=True)
class Feeler:
    """One feeler in the sheet frame, SI."""

    name: str
    body: str
    root: Vector
    tip: Vector
    grip: float


@dataclass(frozen=True)
class _SkinPoint:
    shape: HullShape
    point: Vector
    normals: Vector
    """(k, 3) outward normals of the faces that meet here."""


def feelers(sheet: Sheet) -> list[Feeler]:
    """Spread feelers over the sheet's hull shapes and lower links, as close together as ``MOST`` allows.

    :raises BuildSheetError: a mesh file that holds no surface.
    """
    wheelbase = sheet.wheelbase_mm / 1000.0
    rods = [f for end, axle, _ in ends(sheet) for f in _rod_feelers(axle, f"{end}_axle", wheelbase)]
    # A mesh's file may change while its shape says the same.
    spread = _skin_points.__wrapped__ if any(shape.file for shape in sheet.hull) else _skin_points
    best = spread(sheet.hull, sheet.wheelbase_mm, sheet.tyres.front.outside_diameter_mm, MOST - len(rods))
    return [_feeler(p, DEPTH * wheelbase) for p in best] + rods


@lru_cache(maxsize=64)
def _skin_points(hull: tuple[HullShape, ...], wheelbase_mm: float, tyre_mm: float, most: int) -> tuple[_SkinPoint, ...]:
    """Points on the shapes, as close together as ``most`` allows; most changes of a truck leave its hull alone."""
    wheelbase = wheelbase_mm / 1000.0
    skins = [_skin(shape) for shape in hull]
    low, high = math.log(_FINEST * wheelbase), math.log(wheelbase)
    best = _spread(hull, skins, wheelbase_mm, tyre_mm, math.exp(high))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        points = _spread(hull, skins, wheelbase_mm, tyre_mm, math.exp(middle))
        if len(points) > most:
            low = middle
        else:
            high, best = middle, points
    return tuple(best)


def _spread(
    hull: Sequence[HullShape], skins: Sequence[_Skin], wheelbase_mm: float, tyre_mm: float, spacing: float
) -> list[_SkinPoint]:
    """Points about this far apart (m) on all shapes: what is low meets the rock first and gets them closer."""
    fine = [spacing * min(0.35 + (_bottom(shape) / tyre_mm) ** 2, 1.6) for shape in hull]
    middle = np.array([wheelbase_mm / 2000.0, 0.0, 0.0])
    points = _open_points([s.points(f) for s, f in zip(skins, fine, strict=True)], hull, middle)
    apart = dict(zip((id(shape) for shape in hull), fine, strict=True))
    return _thinned(points, np.array([0.6 * apart[id(p.shape)] for p in points]))


def _bottom(shape: HullShape) -> float:
    """Height of the lowest point (mm) as far as the sheet alone tells."""
    return max(shape.at_mm[2] - shape.size_mm[2] / 2.0, 0.0)


def _rod_feelers(axle: Axle, body: str, wheelbase: float) -> list[Feeler]:
    """Two feelers under each of the two lower links: one moves with the axle, the farther one with the chassis."""
    lower = sorted(axle.links, key=lambda link: link.axle_mm[2] + link.chassis_mm[2])[:2]
    drop, depth = ROD_RADIUS * wheelbase, DEPTH * wheelbase
    out = []
    for link in lower:
        on_axle, on_chassis = np.array(link.axle_mm) / 1000.0, np.array(link.chassis_mm) / 1000.0
        for share, carrier in ((1.0 / 3.0, body), (2.0 / 3.0, "chassis")):
            tip = on_axle + share * (on_chassis - on_axle) - [0.0, 0.0, drop]
            out.append(Feeler(f"link {link.name}", carrier, tip + [0.0, 0.0, depth], tip, ROD_GRIP))
    return out


def _feeler(skin: _SkinPoint, depth: float) -> Feeler:
    outward = _unit(skin.normals.sum(axis=0))
    return Feeler(
        skin.shape.name, skin.shape.body, skin.point - depth * outward, skin.point,
        required(skin.shape.grip, "hull.grip"),
    )


class _SolidSkin:
    """What a box and a cylinder have."""

    def __init__(self, shape: HullShape) -> None:
        self.shape = shape
        self.centre = np.array(shape.at_mm) / 1000.0
        self.half = np.array(shape.size_mm) / 2000.0


class _BoxSkin(_SolidSkin):
    """A box: a lattice on its six faces, corners and edges included."""

    def points(self, spacing: float) -> list[_SkinPoint]:
        # A side that is no mere edge keeps its middle: a belly hangs up on a point there.
        least = [2 if h > 0.25 * self.half.max() else 1 for h in self.half]
        steps = [max(n, int(np.ceil(2.0 * h / spacing - 1e-9))) for n, h in zip(least, self.half, strict=True)]
        out = []
        for index in itertools.product(*(range(n + 1) for n in steps)):
            normals = [
                (-1.0 if i == 0 else 1.0) * np.eye(3)[axis]
                for axis, (i, n) in enumerate(zip(index, steps, strict=True))
                if i in (0, n)
            ]
            if normals:
                share = 2.0 * np.array(index) / np.array(steps) - 1.0
                out.append(_SkinPoint(self.shape, self.centre + share * self.half, np.array(normals)))
        return out


class _CylinderSkin(_SolidSkin):
    """A cylinder on a lateral axis: five lines along it, from front over the bottom to the back."""

    ANGLES = np.radians([-90.0, -45.0, -135.0, 0.0, 180.0])

    def points(self, spacing: float) -> list[_SkinPoint]:
        along = np.linspace(-1.0, 1.0, max(1, int(np.ceil(2.0 * self.half[1] / spacing - 1e-9))) + 1)
        out = []
        for y, angle in itertools.product(along, self.ANGLES):
            outward = np.array([np.cos(angle), 0.0, np.sin(angle)])
            place = self.centre + self.half * np.array([outward[0], y, outward[2]])
            out.append(_SkinPoint(self.shape, place, outward[None]))
        return out


class _MeshSkin:
    """A mesh from a file: points on its surface near its convex hull, which also serves open shells."""

    def __init__(self, shape: HullShape) -> None:
        self.shape = shape
        # Imported here: a mesh library takes longer to load than all the rest of a build sheet takes to compute.
        from models.hullmesh import outer_skin

        self.places, self.normals = outer_skin(shape)

    def points(self, spacing: float) -> list[_SkinPoint]:
        del spacing  # all of them: the thinning has the last word
        return [_SkinPoint(self.shape, p, n[None]) for p, n in zip(self.places, self.normals, strict=True)]


_Skin = _BoxSkin | _CylinderSkin | _MeshSkin


def _skin(shape: HullShape) -> _Skin:
    if shape.shape == "mesh" and shape.file is not None:
        return _MeshSkin(shape)
    return _CylinderSkin(shape) if shape.shape == "cylinder" else _BoxSkin(shape)


def _open_points(skins: Sequence[list[_SkinPoint]], shapes: Sequence[HullShape], middle: Vector) -> list[_SkinPoint]:
    """Drop what is inside or covered by another shape of the same body, and chassis faces that look at its middle."""
    out = []
    for index, skin in enumerate(skins):
        others = [s for j, s in enumerate(shapes) if j != index and s.body == shapes[index].body and s.shape != "mesh"]
        on_chassis = shapes[index].body == "chassis"
        for p in skin:
            if any(_inside(p.point, s) for s in others):
                continue
            kept = [n for n in p.normals if not _hidden(p.point, n, others, middle, on_chassis)]
            if kept:
                out.append(_SkinPoint(p.shape, p.point, np.array(kept)))
    return out


def _inside(point: Vector, shape: HullShape) -> bool:
    offset = np.abs(point - np.array(shape.at_mm) / 1000.0) / (np.array(shape.size_mm) / 2000.0 + 1e-12)
    if shape.shape == "cylinder":
        return bool(offset[0] ** 2 + offset[2] ** 2 < 1.0 and offset[1] < 1.0)
    return bool(np.all(offset < 1.0 - 1e-9))


def _hidden(point: Vector, normal: Vector, others: Sequence[HullShape], middle: Vector, on_chassis: bool) -> bool:
    if abs(normal[2]) < 0.5:
        # An axle stands free: its inner side meets the ledge that the wheels have just climbed.
        return on_chassis and bool(normal[0] * (point[0] - middle[0]) + normal[1] * (point[1] - middle[1]) < -1e-9)
    for shape in others:
        at, half = np.array(shape.at_mm) / 1000.0, np.array(shape.size_mm) / 2000.0
        # A little inside the outline: a shape does not cover a point on its own edge's vertical.
        over = np.all(np.abs(point[:2] - at[:2]) < 0.98 * half[:2])
        if over and (at[2] - point[2]) * normal[2] > 0.0:
            return True
    return False


def _thinned(points: Sequence[_SkinPoint], apart: Vector) -> list[_SkinPoint]:
    """Keep points that are at least so far apart, corners before edges before faces, low before high.

    Distance is measured from tip to tip after each has been pushed outwards by some of ``apart`` (n,): two sides of a
    thin housing are two different things to touch. Points of different shapes of a body may come closer.
    """
    outward = np.array([_unit(p.normals.sum(axis=0)) for p in points]).reshape(-1, 3)
    places = np.array([p.point for p in points]).reshape(-1, 3) + 0.8 * apart[:, None] * outward
    order = sorted(range(len(points)), key=lambda k: (-len(points[k].normals), round(float(points[k].point[2]), 6)))
    shape = np.array([id(p.shape) for p in points])
    body = np.array([p.shape.body for p in points])
    kept = np.zeros(len(points), dtype=bool)
    for i in order:
        others = kept & (body == body[i])
        near = np.sum((places[others] - places[i]) ** 2, axis=1)
        least = np.where(shape[others] == shape[i], apart[i], _OTHER * apart[i])
        kept[i] = not np.any(near < least**2)
    return [p for p, keep in zip(points, kept, strict=True) if keep]


def _unit(v: Vector) -> Vector:
    return np.asarray(v / np.linalg.norm(v))
