"""The URDF export read back by other tools."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import trimesh
import yourdfpy

from models import scenario
from models.assemble import rigid_model
from models.defaults import resolve
from models.errors import BuildSheetError
from models.massprops import MassProperties, combined
from models.rigid import BODY_NAMES, JOINT_COUNT, RigidModel
from models.sheet import load_sheet
from models.spec import Sheet
from models.urdf import write_urdf

pybullet = pytest.importorskip("pybullet")


@pytest.fixture(scope="module", params=scenario.builds(), ids=lambda p: p.stem)
def export(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Sheet, RigidModel, Path]:
    sheet = resolve(load_sheet(request.param))
    model = rigid_model(sheet)
    return sheet, model, write_urdf(sheet, tmp_path_factory.mktemp("urdf"), model)


def whole(model: RigidModel) -> MassProperties:
    return combined(
        MassProperties(b.mass, p + b.p_BBcm, b.I_BBcm) for b, p in zip(model.bodies, model.origins(), strict=True)
    )


def test_an_independent_reader_finds_the_same_truck(export: tuple[Sheet, RigidModel, Path]) -> None:
    _, model, file = export
    robot = yourdfpy.URDF.load(str(file), load_meshes=True, build_scene_graph=True)
    pieces = []
    for name, link in robot.link_map.items():
        place = np.asarray(robot.get_transform(name, "chassis")) @ link.inertial.origin
        turn = place[:3, :3]
        pieces.append(MassProperties(link.inertial.mass, place[:3, 3], turn @ link.inertial.inertia @ turn.T))
    theirs, ours = combined(pieces), whole(model)
    assert theirs.mass == pytest.approx(ours.mass, rel=1e-9)
    assert theirs.cg == pytest.approx(ours.cg, abs=1e-9)
    assert theirs.inertia == pytest.approx(ours.inertia, abs=1e-9 * float(np.trace(ours.inertia)))


def test_numbers_come_back_to_the_bit(export: tuple[Sheet, RigidModel, Path]) -> None:
    _, model, file = export
    links = {link.get("name"): link for link in ET.parse(file).getroot().findall("link")}
    assert tuple(links) == BODY_NAMES
    for body in model.bodies:
        inertial = links[body.name].find("inertial")
        assert inertial is not None
        mass, inertia, origin = inertial.find("mass"), inertial.find("inertia"), inertial.find("origin")
        assert mass is not None
        assert inertia is not None
        assert origin is not None
        assert float(mass.attrib["value"]) == body.mass
        assert [float(v) for v in origin.attrib["xyz"].split()] == body.p_BBcm.tolist()
        assert float(inertia.attrib["ixx"]) == body.I_BBcm[0, 0]
        assert float(inertia.attrib["iyz"]) == body.I_BBcm[1, 2]


def test_the_engine_loads_it(export: tuple[Sheet, RigidModel, Path]) -> None:
    _, model, file = export
    client = pybullet.connect(pybullet.DIRECT)
    try:
        flags = pybullet.URDF_USE_INERTIA_FROM_FILE
        body = pybullet.loadURDF(str(file), flags=flags, physicsClientId=client)
        assert pybullet.getNumJoints(body, physicsClientId=client) == JOINT_COUNT
        masses = [pybullet.getDynamicsInfo(body, i, physicsClientId=client)[0] for i in range(-1, JOINT_COUNT)]
        assert sum(masses) == pytest.approx(model.mass, rel=1e-12)
        for i in range(JOINT_COUNT):
            info = pybullet.getJointInfo(body, i, physicsClientId=client)
            assert info[12].decode() == BODY_NAMES[i + 1]
            # The engine keeps axes in the frame of principal inertia.
            dynamics = pybullet.getDynamicsInfo(body, i, physicsClientId=client)
            turn = np.array(pybullet.getMatrixFromQuaternion(dynamics[4])).reshape(3, 3)
            assert turn @ np.array(info[13]) == pytest.approx(model.bodies[i + 1].axis, abs=1e-6)
            principal = np.linalg.eigvalsh(model.bodies[i + 1].I_BBcm)
            assert sorted(dynamics[2]) == pytest.approx(principal.tolist(), rel=1e-6)
    finally:
        pybullet.disconnect(client)


def test_meshes_are_closed_and_where_the_shapes_are(export: tuple[Sheet, RigidModel, Path]) -> None:
    sheet, model, file = export
    for path in sorted((file.parent / "meshes").glob("*.stl")):
        mesh = trimesh.load_mesh(path)
        assert mesh.is_watertight, path.name
        assert mesh.volume > 0, path.name
    shape = next(s for s in sheet.hull if s.body == "rear_axle")
    k = next(iter((file.parent / "meshes").glob("rear_axle_1_*_collision.stl")))
    origin = model.origins()[8]
    bounds = trimesh.load_mesh(k).bounds + origin
    # STL holds single precision.
    assert bounds.mean(axis=0) == pytest.approx(np.array(shape.at_mm) / 1000, abs=1e-7)


def test_names_from_a_user_are_only_names(tmp_path: Path) -> None:
    sheet = resolve(load_sheet(scenario.builds()[0]))
    hull = tuple(
        s.model_copy(update={"name": '../../<evil name="x"> & co\x07' if k == 0 else s.name})
        for k, s in enumerate(sheet.hull)
    )
    odd = sheet.model_copy(update={"name": '<robot> & "friends" \x00', "hull": hull})
    file = write_urdf(odd, tmp_path / "out")
    assert ET.parse(file).getroot().get("name") == '<robot> & "friends" '
    assert {p.parent for p in tmp_path.rglob("*.stl")} == {tmp_path / "out" / "meshes"}
    yourdfpy.URDF.load(str(file))


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way", encoding="utf-8")
    with pytest.raises(BuildSheetError, match="cannot be written"):
        write_urdf(resolve(load_sheet(scenario.builds()[0])), blocked)
