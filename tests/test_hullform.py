"""Feelers: on the skin, pointing out, as many as the step affords, and none where nothing can touch."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from models import scenario
from models.assemble import HULL_SINK, rigid_model
from models.defaults import resolve
from models.errors import BuildSheetError
from models.hullform import DEPTH, MOST, Feeler, feelers
from models.hullmesh import load_mesh
from models.massprops import GRAVITY
from models.mesh_file import LARGEST
from models.rigid import BODY_NAMES
from models.sheet import load_sheet
from models.spec import HullShape, Sheet


def gundi(*hull: HullShape) -> Sheet:
    sheet = resolve(load_sheet(scenario.builds()[0]))
    return sheet.model_copy(update={"hull": hull}) if hull else sheet


def box(name: str = "block", **values: object) -> HullShape:
    return HullShape.model_validate(
        {"name": name, "at_mm": (67, 0, 40), "size_mm": (60, 40, 20), "grip": 0.4, **values}
    )


def of(name: str, found: list[Feeler]) -> list[Feeler]:
    return [f for f in found if f.name == name]


@pytest.mark.parametrize("build", scenario.builds(), ids=lambda p: p.stem)
def test_scenario_trucks_have_enough_and_not_too_many(build: Path) -> None:
    sheet = resolve(load_sheet(build))
    found = feelers(sheet)
    assert 60 <= len(found) <= MOST
    count = Counter(f.name for f in found)
    for shape in sheet.hull:
        assert count[shape.name] >= 2, shape.name
    assert {f.body for f in found} == {"chassis", "front_axle", "rear_axle"}


def test_tips_lie_on_the_skin_and_point_outwards() -> None:
    shape = box()
    at, half = np.array(shape.at_mm) / 1000, np.array(shape.size_mm) / 2000
    depth = DEPTH * 0.134
    for f in of("block", feelers(gundi(shape))):
        assert np.max(np.abs(f.tip - at) / half) == pytest.approx(1.0, abs=1e-9)
        assert np.linalg.norm(f.tip - f.root) == pytest.approx(depth, rel=1e-12)
        # From inside to outside: the way out never leads towards the middle of the box.
        assert float((f.tip - f.root) @ (f.tip - at)) > 0


def test_a_bumper_is_felt_forwards() -> None:
    nose = box("nose", at_mm=(165, 0, 45), size_mm=(6, 46, 8))
    ahead = [f for f in of("nose", feelers(gundi(nose, box()))) if (f.tip - f.root)[0] > 0.5 * DEPTH * 0.134]
    assert len(ahead) >= 3
    # Nothing looks back at the truck.
    assert all((f.tip - f.root)[0] > -1e-12 for f in of("nose", feelers(gundi(nose, box()))))


def test_covered_and_buried_skin_is_left_out() -> None:
    low = box("low", at_mm=(67, 0, 30), size_mm=(60, 40, 6))
    high = box("high", at_mm=(67, 0, 45), size_mm=(40, 30, 30))
    found = feelers(gundi(low, high))
    # The low plate's top is covered by the high box, whose bottom is inside the plate.
    assert all((f.tip - f.root)[2] < 1e-9 for f in of("low", found) if np.all(np.abs(f.tip[:2] - [0.067, 0]) < 0.014))
    assert all(f.tip[2] > 0.0330 for f in of("high", found))


def test_a_round_housing_is_felt_below_before_and_behind() -> None:
    case = box("case", body="rear_axle", shape="cylinder", at_mm=(0, 0, 27), size_mm=(20, 30, 20))
    ways = np.array([(f.tip - f.root) / np.linalg.norm(f.tip - f.root) for f in of("case", feelers(gundi(case)))])
    for way in ([0, 0, -1], [1, 0, 0], [-1, 0, 0]):
        assert np.max(ways @ way) > 0.7
    for f in of("case", feelers(gundi(case))):
        assert np.hypot(f.tip[0], f.tip[2] - 0.027) == pytest.approx(0.010, rel=1e-9)


def test_lower_links_are_felt() -> None:
    rods = [f for f in feelers(gundi()) if f.name.startswith("link lower")]
    assert len(rods) == 8
    assert Counter(f.body for f in rods) == {"chassis": 4, "front_axle": 2, "rear_axle": 2}
    assert all(f.tip[2] < f.root[2] for f in rods)


def test_a_mesh_is_felt_like_the_box_it_is(tmp_path: Path) -> None:
    file = tmp_path / "box.stl"
    trimesh.creation.box(extents=(60, 40, 20)).export(file)
    shape = box("mesh", shape="mesh", size_mm=(0, 0, 0), file=str(file))
    found = of("mesh", feelers(gundi(shape)))
    assert len(found) > 20
    at, half = np.array(shape.at_mm) / 1000, np.array([60, 40, 20]) / 2000
    for f in found:
        # STL holds single precision.
        assert np.max(np.abs(f.tip - at) / half) == pytest.approx(1.0, abs=1e-5)
        assert float((f.tip - f.root) @ (f.tip - at)) > 0
    assert feelers(gundi(shape))[0].tip == pytest.approx(feelers(gundi(shape))[0].tip, abs=0)


def test_an_open_shell_is_felt_from_outside(tmp_path: Path) -> None:
    # A hood without a bottom, faces turned at random as in a scan.
    lid = trimesh.creation.box(extents=(150, 70, 40))
    faces = lid.faces[lid.face_normals[:, 2] > -0.5]
    faces[::2] = faces[::2, ::-1]
    file = tmp_path / "hood.stl"
    trimesh.Trimesh(lid.vertices, faces, process=False).export(file)
    shape = box("hood", shape="mesh", at_mm=(67, 0, 80), size_mm=(0, 0, 0), file=str(file))
    middle = np.array([0.067, 0.0, 0.080])
    found = of("hood", feelers(gundi(shape)))
    assert found
    assert all(float((f.tip - f.root) @ (f.tip - middle)) > 0 for f in found)


def test_a_mesh_is_stretched_to_its_size(tmp_path: Path) -> None:
    file = tmp_path / "box.obj"
    trimesh.creation.box(extents=(1, 1, 1)).export(file)
    mesh = load_mesh(box(shape="mesh", size_mm=(60, 40, 0), file=str(file)))
    # A size of zero keeps the file's own millimetres.
    assert mesh.extents == pytest.approx([0.060, 0.040, 0.001], rel=1e-6)
    assert mesh.bounds.mean(axis=0) == pytest.approx([0.067, 0.0, 0.040], abs=1e-9)


@pytest.mark.parametrize("content", [b"", b"solid nothing\nendsolid\n", b"not a mesh at all", b"\x00" * 200])
def test_a_broken_mesh_is_one_clear_message(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "broken.stl"
    file.write_bytes(content)
    with pytest.raises(BuildSheetError, match="mesh"):
        load_mesh(box(shape="mesh", file=str(file)))


@pytest.mark.parametrize(("name", "make", "words"), [
    ("pipe.stl", os.mkfifo, "not a regular file"),
    ("folder.obj", os.mkdir, "not a regular file"),
    ("scene.glb", lambda file: Path(file).touch(), "neither an STL nor an OBJ"),
    ("endless.stl", lambda file: os.symlink("/dev/zero", file), "not a regular file"),
    ("long.stl", lambda file: Path(file).touch() or os.truncate(file, LARGEST + 1), "64 MB"),
])
def test_what_is_no_mesh_file_is_not_opened(tmp_path: Path, name: str, make: Any, words: str) -> None:
    make(tmp_path / name)
    with pytest.raises(BuildSheetError, match=words):
        load_mesh(box(shape="mesh", file=str(tmp_path / name)))


def test_stiffness_bears_the_truck() -> None:
    model = rigid_model(gundi())
    wanted = model.mass * GRAVITY / HULL_SINK
    assert model.hull.stiffness.max() == pytest.approx(wanted, rel=1e-12)
    # Light ends of the axles take less, within the step: never under a quarter of it (measured 0.38).
    assert model.hull.stiffness.min() > 0.25 * wanted


def test_points_are_in_their_body_s_frame() -> None:
    sheet = gundi()
    model = rigid_model(sheet)
    found = feelers(sheet)
    for k, f in enumerate(found):
        assert BODY_NAMES[model.hull.body[k]] == f.body
        assert model.hull.p_tip[k] + model.origins()[model.hull.body[k]] == pytest.approx(f.tip, abs=1e-12)
        assert model.hull.names[model.hull.part[k]] == f.name


def test_a_truck_without_shapes_still_has_its_links() -> None:
    sheet = resolve(load_sheet(scenario.builds()[0])).model_copy(update={"hull": ()})
    assert len(feelers(sheet)) == 8
    assert len(rigid_model(sheet).hull.body) == 8
