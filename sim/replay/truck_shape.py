"""What a truck looks like, from its sheet: hull shapes, visible parts, links, shocks and wheels on their bodies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.errors import BuildSheetError
from models.hullform import ROD_RADIUS
from models.hullmesh import load_mesh
from models.rigid import AXLE_BODIES, BODY_NAMES, WHEEL_BODIES, RigidModel
from models.spec import HullShape, Part, Sheet
from sim.replay import solid
from sim.replay.parts import LIGHTEST, NamedPart, grams, inside
from sim.replay.solid import Solid

Array = NDArray[np.float64]
SHELL_WORDS = ("body", "cab", "shell", "tub", "bed", "roof", "hood")


@dataclass(frozen=True)
class Rod:
    """A straight thing between two bodies: link or shock."""

    bodies: tuple[int, int]
    ends: tuple[Array, Array]
    """(3,) each, in its body's frame, m."""
    radius: float
    tone: str


@dataclass(frozen=True)
class TruckShape:
    """Everything of a truck that is drawn."""

    solids: tuple[Solid, ...]
    rods: tuple[Rod, ...]
    inside: tuple[Solid, ...]
    """Parts under the shell, and those anywhere that differ from the truck it is compared with."""
    names: tuple[NamedPart, ...]
    length: float
    """m, the wheelbase: what cameras measure by."""


def truck_shape(sheet: Sheet, model: RigidModel, before: Sheet | None = None) -> TruckShape:
    """Shapes of a resolved sheet on the bodies of its rigid model; what differs from ``before`` is marked."""
    origins = model.origins()
    solids = [s for shape in sheet.hull if (s := _hull_solid(shape, origins)) is not None]
    if not any(s.body == 0 for s in solids):
        solids += [_part_solid(p, origins) for p in sheet.parts if p.body == "chassis" and grams(p) >= LIGHTEST]
    solids += [s for p in sheet.parts if p.body == "front_knuckles" for s in _pair(p, origins)]
    for ring, body in zip(model.tyres, WHEEL_BODIES, strict=True):
        radius, half = float(np.max(ring.row_radius)), float(np.max(np.abs(ring.row_y)))
        crown = radius - float(np.min(ring.row_radius))
        solids += solid.wheel(body, radius, ring.rim_radius, 2.0 * half * 1.1, crown)
    parts, names = inside(sheet, before, origins)
    return TruckShape(tuple(solids), tuple(_rods(sheet, model, origins)), tuple(parts), tuple(names), model.wheelbase)


def _hull_solid(shape: HullShape, origins: Array) -> Solid | None:
    body = BODY_NAMES.index(shape.body)
    centre = np.array(shape.at_mm) / 1e3 - origins[body]
    size = np.array(shape.size_mm) / 1e3
    tone = _tone(shape.name, body)
    if shape.shape == "mesh":
        try:
            return solid.mesh(body, tone, load_mesh(shape), origins[body])
        except BuildSheetError:
            # The file may have stayed on the machine that drove; its place is known all the same.
            return solid.box(body, tone, centre, size) if size.min() > 0.0 else None
    make = solid.cylinder if shape.shape == "cylinder" else solid.box
    return make(body, tone, centre, size)


def _tone(name: str, body: int) -> str:
    if body != 0:
        return "axle"
    words = name.lower()
    if "cab" in words or "roof" in words:
        return "cab"
    return "shell" if any(word in words for word in SHELL_WORDS) else "frame"


def _part_solid(part: Part, origins: Array) -> Solid:
    body = BODY_NAMES.index(part.body)
    make = solid.cylinder if part.shape in ("cylinder", "ring") else solid.box
    return make(body, "frame", np.array(part.at_mm) / 1e3 - origins[body], np.array(part.size_mm) / 1e3)


def _pair(part: Part, origins: Array) -> list[Solid]:
    """A part on both knuckles."""
    out = []
    for name, side in (("front_left_knuckle", 1.0), ("front_right_knuckle", -1.0)):
        body = BODY_NAMES.index(name)
        centre = np.array(part.at_mm) / 1e3 * [1.0, side, 1.0] - origins[body]
        out.append(solid.box(body, "axle", centre, np.array(part.size_mm) / 1e3))
    return out


def _rods(sheet: Sheet, model: RigidModel, origins: Array) -> list[Rod]:
    out = []
    thick = ROD_RADIUS * model.wheelbase
    for axle, body in zip((sheet.axles.front, sheet.axles.rear), AXLE_BODIES, strict=True):
        for link in axle.links:
            ends = (np.array(link.chassis_mm) / 1e3, np.array(link.axle_mm) / 1e3 - origins[body])
            out.append(Rod((0, body), ends, thick, "link"))
        for side in (1.0, -1.0):
            mirror = np.array([1.0, side, 1.0])
            ends = (
                np.array(axle.shock.chassis_mm) / 1e3 * mirror,
                np.array(axle.shock.axle_mm) / 1e3 * mirror - origins[body],
            )
            out.append(Rod((0, body), ends, 1.9 * thick, "shock"))
    return out
