"""The rigid model as a URDF file with visual and collision meshes, for other tools to load.

Numbers are written in full (``repr``): a file read back gives the same bits. Springs, tyres and drive have no place in
the format and stay behind; joints move freely within the limits given.
"""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh

from models.assemble import rigid_model
from models.defaults import resolve
from models.errors import writing
from models.hullmesh import load_mesh
from models.rigid import BODY_NAMES, KNUCKLE_BODIES, WHEEL_BODIES, Body, RigidModel, TyreRing
from models.spec import HullShape, Sheet
from models.vector import Vector

_AROUND = 48
_Z_TO_Y = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
"""Turns a solid of revolution about z into one about y."""
_COLOURS = {"chassis": "0.35 0.4 0.45 1", "axle": "0.6 0.6 0.62 1", "wheel": "0.12 0.12 0.13 1"}


@dataclass(frozen=True)
class _Shape:
    """One mesh of a body, body frame, m."""

    name: str
    visual: trimesh.Trimesh
    collision: trimesh.Trimesh


def write_urdf(sheet: Sheet, folder: Path, model: RigidModel | None = None) -> Path:
    """Write ``truck.urdf`` and its meshes (STL, metres) into a folder, which is made if it is not there.

    Links and joints carry the names of :data:`models.rigid.BODY_NAMES`; the chassis link's origin is the sheet datum.

    :returns: the URDF file.
    :raises BuildSheetError: the sheet cannot be assembled, or the folder cannot be written.
    """
    sheet = resolve(sheet)
    model = rigid_model(sheet) if model is None else model
    shapes = {i: _shapes(i, sheet, model) for i in range(len(model.bodies))}
    with writing(folder):
        meshes = folder / "meshes"
        meshes.mkdir(parents=True, exist_ok=True)
        for own in shapes.values():
            for shape in own:
                shape.visual.export(meshes / f"{shape.name}.stl")
                shape.collision.export(meshes / f"{shape.name}_collision.stl")
        file = folder / "truck.urdf"
        file.write_text(_document(model, shapes), encoding="utf-8")
    return file


def _document(model: RigidModel, shapes: dict[int, list[_Shape]]) -> str:
    robot = ET.Element("robot", name="".join(c for c in model.name if c.isprintable()))
    for kind, colour in _COLOURS.items():
        ET.SubElement(ET.SubElement(robot, "material", name=kind), "color", rgba=colour)
    for i, body in enumerate(model.bodies):
        _add_link(robot, body, shapes[i])
    for i, body in enumerate(model.bodies):
        if body.parent >= 0:
            _add_joint(robot, i, model)
    ET.indent(robot)
    return '<?xml version="1.0"?>\n' + ET.tostring(robot, encoding="unicode") + "\n"


def _add_link(robot: ET.Element, body: Body, shapes: list[_Shape]) -> None:
    link = ET.SubElement(robot, "link", name=body.name)
    inertial = ET.SubElement(link, "inertial")
    ET.SubElement(inertial, "origin", xyz=_numbers(body.p_BBcm), rpy="0 0 0")
    ET.SubElement(inertial, "mass", value=_number(body.mass))
    tensor = body.I_BBcm
    axes = "xyz"
    ET.SubElement(inertial, "inertia",
                  {f"i{axes[r]}{axes[c]}": _number(tensor[r, c]) for r in range(3) for c in range(r, 3)})
    kind = "wheel" if body.name.endswith("wheel") else "chassis" if body.name == "chassis" else "axle"
    for shape in shapes:
        for use, file in (("visual", shape.name), ("collision", f"{shape.name}_collision")):
            element = ET.SubElement(link, use, name=shape.name)
            ET.SubElement(element, "origin", xyz="0 0 0", rpy="0 0 0")
            ET.SubElement(ET.SubElement(element, "geometry"), "mesh", filename=f"meshes/{file}.stl")
            if use == "visual":
                ET.SubElement(element, "material", name=kind)


def _add_joint(robot: ET.Element, i: int, model: RigidModel) -> None:
    body = model.bodies[i]
    low, high = _limits(i, model)
    kind = "continuous" if i in WHEEL_BODIES else body.joint
    joint = ET.SubElement(robot, "joint", name=body.name, type=kind)
    ET.SubElement(joint, "origin", xyz=_numbers(body.p_PJ), rpy="0 0 0")
    ET.SubElement(joint, "parent", link=BODY_NAMES[body.parent])
    ET.SubElement(joint, "child", link=body.name)
    ET.SubElement(joint, "axis", xyz=_numbers(body.axis))
    if kind != "continuous":
        # Effort and speed are required by the format and not limited here.
        ET.SubElement(joint, "limit", lower=_number(low), upper=_number(high), effort="1000", velocity="1000")


def _limits(i: int, model: RigidModel) -> tuple[float, float]:
    """Travel of a joint: shocks to their stops, knuckles to full lock."""
    if i in KNUCKLE_BODIES:
        return -model.steering.limit, model.steering.limit
    end = 2 if i < 7 else 8
    line = next((s for s in model.shocks if s.axle_body == end), None)
    if line is None or i in WHEEL_BODIES:
        return -math.pi, math.pi
    if model.bodies[i].name.endswith("heave_arm"):
        body = model.bodies[i]
        arm = 1.0 if body.joint == "prismatic" else max(float(np.linalg.norm(model.bodies[end].p_PJ)), 1e-3)
        return -line.droop / arm, line.bump / arm
    roll = math.atan2(line.bump + line.droop, 2.0 * abs(float(line.p_axle[1])) + 1e-6)
    return -roll, roll


def _shapes(i: int, sheet: Sheet, model: RigidModel) -> list[_Shape]:
    name = BODY_NAMES[i]
    origin = model.origins()[i]
    if i in WHEEL_BODIES:
        k = WHEEL_BODIES.index(i)
        return [_Shape(name, _tyre_mesh(model.tyres[k]), _tyre_mesh(model.tyres[k]).convex_hull)]
    if i in KNUCKLE_BODIES:
        size = 0.35 * float(model.tyres[0].row_radius.max())
        block = trimesh.creation.box(extents=(0.5 * size, 0.5 * size, size))
        return [_Shape(name, block, block)]
    found = []
    for k, shape in enumerate(s for s in sheet.hull if s.body == name):
        mesh = solid(shape)
        mesh.apply_translation(-origin)
        found.append(_Shape(f"{name}_{k + 1}_{_plain(shape.name)}", mesh, mesh.convex_hull))
    return found


def _plain(name: str) -> str:
    """Turn a user's name into a safe piece of a file name."""
    return re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_")[:40] or "shape"


def solid(shape: HullShape) -> trimesh.Trimesh:
    """Make a closed mesh of a hull shape in the sheet frame, m."""
    if shape.shape == "mesh" and shape.file is not None:
        return load_mesh(shape)
    size, at = np.array(shape.size_mm) / 1000.0, np.array(shape.at_mm) / 1000.0
    if shape.shape == "cylinder":
        mesh = trimesh.creation.cylinder(radius=0.5, height=1.0, sections=_AROUND)
        mesh.apply_transform(_Z_TO_Y)
        mesh.apply_scale(size)
    else:
        mesh = trimesh.creation.box(extents=size)
    mesh.apply_translation(at)
    return mesh


def _tyre_mesh(ring: TyreRing) -> trimesh.Trimesh:
    """Revolve the tread's rows about the wheel's axis (y)."""
    strip = float(ring.row_y[1] - ring.row_y[0]) if len(ring.row_y) > 1 else 0.5 * float(ring.row_radius.max())
    edge = float(ring.row_y[-1]) + strip / 2.0
    rim = ring.rim_radius
    tread = list(zip(ring.row_radius, ring.row_y, strict=True))
    disc = 0.4 * edge
    inner = [(0.0, -disc), (rim, -disc), (rim, -edge), (tread[0][0], -edge)]
    outer = [(tread[-1][0], edge), (rim, edge), (rim, disc), (0.0, disc)]
    profile = [*inner, *tread, *outer]
    mesh = trimesh.creation.revolve(np.array(profile), sections=_AROUND)
    mesh.apply_transform(_Z_TO_Y)
    return mesh


def _number(value: float) -> str:
    return repr(float(value))


def _numbers(values: Vector) -> str:
    return " ".join(_number(v) for v in values)
