"""Meshes, images and grids in and out: against ray casts, round trips, holes, overhangs, a real elevation model."""

from __future__ import annotations

import math
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import trimesh
from PIL import Image

from terrain import catalog, file_name, holes, mesh_file, own_ground
from terrain.errors import TerrainError
from terrain.ground_file import Description, load_ground, save_ground
from terrain.heightfield import Heightfield, sample
from terrain.image_file import export_image
from terrain.importing import import_ground, resampled
from terrain.intake import Intake
from terrain.yardstick import Yardstick

YARD = Yardstick(0.14, 0.028)
CELL = YARD.cell


def bumpy(nx: int = 121, ny: int = 101, spacing: float = CELL) -> Heightfield:
    x, y = np.arange(nx)[:, None] * spacing, np.arange(ny)[None, :] * spacing
    z = 0.02 * np.sin(9 * x + 1) * np.cos(13 * y) + 0.1 * x + 0.05
    return Heightfield.of(z - z.min(), (0.0, -0.5 * (ny - 1) * spacing), spacing)


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply", ".glb"])
@pytest.mark.parametrize("base", [None, 0.01])
def test_mesh_round_trip(tmp_path: Path, suffix: str, base: float | None) -> None:
    """Out and in again on the same nodes: 32-bit numbers in mm hold 0.3 m to 3e-8 m; allow ten times that."""
    ground, path = bumpy(), tmp_path / f"rock{suffix}"
    mesh_file.export_mesh(ground, path, base=base)
    again, report = import_ground(path, Intake(), CELL)
    assert again.z.shape == ground.z.shape
    np.testing.assert_allclose(again.z, ground.z, atol=3e-7)
    assert again.origin == pytest.approx(ground.origin, abs=1e-6)
    assert report.holes_percent == report.outside_percent == report.overhang_percent == 0.0


def test_a_block_to_print_is_closed_and_has_its_volume(tmp_path: Path) -> None:
    ground = bumpy(41, 31)
    mesh_file.export_mesh(ground, tmp_path / "block.stl", base=0.01)
    block = trimesh.load_mesh(tmp_path / "block.stl")
    assert block.is_watertight
    # Each cell's two triangles average its corners (a+b+c)/3 and (a+c+d)/3; the base adds 10 mm.
    z = (ground.z - ground.z.min() + 0.01) * 1000
    a, b, c, d = z[:-1, :-1], z[1:, :-1], z[1:, 1:], z[:-1, 1:]
    volume = ((2 * a + b + 2 * c + d) / 6).sum() * 4.0
    assert block.volume == pytest.approx(volume, rel=1e-5)


@pytest.mark.parametrize("every", [2, 3])
def test_thinned_export_stays_within_half_a_cell(tmp_path: Path, every: int) -> None:
    ground = bumpy()
    mesh_file.export_mesh(ground, tmp_path / "thin.stl", every=every)
    again, _ = import_ground(tmp_path / "thin.stl", Intake(), CELL)
    nx, ny = again.z.shape
    offset = np.median(again.z - ground.z[:nx, :ny])
    np.testing.assert_allclose(again.z - offset, ground.z[:nx, :ny], atol=0.5 * CELL)


def test_imported_heights_agree_with_ray_casts(tmp_path: Path) -> None:
    """A turned, scaled, irregular rock: every node's height against a plumb ray through the same mesh."""
    rock = trimesh.creation.icosphere(subdivisions=3, radius=60.0)
    rock.vertices *= [1.6, 1.0, 0.5]
    rock.vertices += np.random.default_rng(1).normal(0, 0.6, rock.vertices.shape)
    plate = trimesh.creation.box((400, 300, 20))
    scan = trimesh.util.concatenate([rock, plate])
    scan.export(tmp_path / "rock.stl")
    ground, _ = import_ground(tmp_path / "rock.stl", Intake(turn_deg=30, crop_mm=(-100, 100, -80, 80)), 0.004)
    angle = math.radians(30)
    x, y = np.meshgrid(ground.x * 1000 - 100, ground.y * 1000, indexing="ij")
    # The point that a turn by +30 degrees brought to (x, y).
    px, py = x * math.cos(angle) + y * math.sin(angle), y * math.cos(angle) - x * math.sin(angle)
    start = np.column_stack([px.ravel(), py.ravel(), np.full(px.size, 500.0)])
    hits, ray, _ = scan.ray.intersects_location(start, np.broadcast_to([0.0, 0.0, -1.0], start.shape))
    top = np.full(len(start), -np.inf)
    np.maximum.at(top, ray, hits[:, 2])
    expected = 0.001 * (top - top.min())
    # 32-bit ray kernels see 0.5 m to 3e-8; a ray along a shared edge may see either of two equal faces.
    np.testing.assert_allclose(ground.z.ravel(), expected, atol=2e-6)


def test_overhang_is_reported_and_its_top_kept(tmp_path: Path) -> None:
    """A plate 100 mm square floating 40 mm over ground 300 mm square hides a ninth of it."""
    floor, roof = trimesh.creation.box((300, 300, 10)), trimesh.creation.box((100, 100, 10))
    roof.apply_translation([0, 0, 50])
    trimesh.util.concatenate([floor, roof]).export(tmp_path / "cave.ply")
    ground, report = import_ground(tmp_path / "cave.ply", Intake(), CELL)
    assert report.overhang_percent == pytest.approx(100 / 9, rel=0.03)
    assert report.overhang_mm == pytest.approx(50.0, abs=1e-3)
    assert ground.z.max() == pytest.approx(0.05, abs=1e-6)


def test_a_closed_boulder_hides_nothing_and_an_inside_out_one_neither(tmp_path: Path) -> None:
    block = trimesh.creation.box((200, 200, 60))
    for name, faces in (("out.ply", block.faces), ("in.ply", block.faces[:, ::-1])):
        trimesh.Trimesh(block.vertices, faces, process=False).export(tmp_path / name)
        _, report = import_ground(tmp_path / name, Intake(), CELL)
        assert report.overhang_percent == 0.0


def test_holes_are_filled_by_a_membrane(tmp_path: Path) -> None:
    """Laplace's equation keeps a plane a plane: a hole in a slope is filled exactly."""
    x, y = np.meshgrid(np.arange(30.0), np.arange(40.0), indexing="ij")
    plane = 0.3 * x - 0.2 * y
    pierced = plane.copy()
    pierced[10:20, 15:25] = np.nan
    np.testing.assert_allclose(holes.fill(pierced), plane, atol=1e-10)
    assert holes.inner_holes(pierced).sum() == 100
    pierced[:3] = np.nan
    assert holes.inner_holes(pierced).sum() == 100
    assert np.isfinite(holes.fill(pierced)).all()


def test_mesh_hole_is_counted(tmp_path: Path) -> None:
    vertices, faces = mesh_file.surface(bumpy())
    centre = vertices[faces].mean(axis=1)
    kept = faces[np.hypot(centre[:, 0] - 0.12, centre[:, 1]) > 0.02]
    trimesh.Trimesh(1000 * vertices, kept, process=False).export(tmp_path / "hole.stl")
    ground, report = import_ground(tmp_path / "hole.stl", Intake(), CELL)
    # Nodes on the hole's ragged rim still belong to a triangle: its radius is about half a cell less.
    share = math.pi * (0.02 - 0.5 * CELL) ** 2 / (0.24 * 0.20)
    assert report.holes_percent == pytest.approx(100 * share, rel=0.05)
    assert np.isfinite(ground.z).all()


def test_clustering_thins_a_mesh_without_moving_it_far(tmp_path: Path) -> None:
    fine = bumpy(241, 201, 0.001)
    mesh_file.export_mesh(fine, tmp_path / "fine.ply")
    ground, report = import_ground(tmp_path / "fine.ply", Intake(thin_mm=2.5), CELL)
    assert report.triangles_used < 0.4 * report.triangles
    whole, _ = import_ground(tmp_path / "fine.ply", Intake(), CELL)
    nx, ny = (min(a, b) for a, b in zip(ground.z.shape, whole.z.shape, strict=True))
    # The thinned mesh ends up to a cluster inside the old edge, so its nodes are shifted by as much: compare the
    # inner part with slope 0.35 times 2.5 mm.
    assert np.abs(ground.z[5 : nx - 5, 5 : ny - 5] - whole.z[5 : nx - 5, 5 : ny - 5]).max() < 0.001


@pytest.mark.parametrize(("up", "column"), [("x", 0), ("y", 1), ("z", 2), ("-z", 2), ("-y", 1)])
def test_up_axis(tmp_path: Path, up: str, column: int) -> None:
    p = np.array([[1.0, 2.0, 3.0]])
    turned = mesh_file.turned(p, up, 0.0)[0]
    assert turned[2] == (-1 if up.startswith("-") else 1) * p[0, column]
    # A rotation, not a mirror: the three axes' images keep a determinant of one.
    assert np.linalg.det(mesh_file.turned(np.eye(3), up, 0.0)) == pytest.approx(1.0)


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_image_round_trip(tmp_path: Path, suffix: str) -> None:
    ground, path = bumpy(), tmp_path / f"rock{suffix}"
    step = export_image(ground, path)
    intake = Intake() if suffix == ".png" else Intake(pixel_mm=1000 * CELL)
    again, report = import_ground(path, intake, CELL)
    assert report.kind == "image"
    # Half a grey step for PNG; 32-bit mm for TIFF.
    np.testing.assert_allclose(again.z, ground.z, atol=max(0.51 * step, 1e-8))
    assert again.spacing == pytest.approx(CELL)


def test_an_image_row_is_a_line_of_equal_y_and_its_top_is_left(tmp_path: Path) -> None:
    grey = np.zeros((100, 160), dtype=np.uint8)
    grey[:10, :] = 255
    grey[:, -20:] = 128
    Image.fromarray(grey).save(tmp_path / "map.png")
    ground, _ = import_ground(tmp_path / "map.png", Intake(pixel_mm=2, relief_mm=(0, 51)), CELL)
    assert ground.z.shape == (160, 100)
    assert float(sample(ground, 0.0, ground.extent[3])) == pytest.approx(0.051)
    assert float(sample(ground, ground.extent[1], 0.0)) == pytest.approx(0.051 * 128 / 255)


def test_esri_grid_runs_from_the_north_west(tmp_path: Path) -> None:
    (tmp_path / "g.asc").write_text(
        "ncols 4\nnrows 3\nxllcorner 7\nyllcorner 9\ncellsize 60\nNODATA_value -9999\n1 2 3 4\n5 6 7 8\n9 10 -9999 12\n"
    )
    ground, report = import_ground(tmp_path / "g.asc", Intake(), CELL)
    assert ground.spacing == pytest.approx(0.060)
    assert ground.z[0, 2] == pytest.approx(0.0)
    assert ground.z[3, 0] == pytest.approx(0.011)
    assert ground.z[1, 1] == pytest.approx(0.005)
    assert report.outside_percent == pytest.approx(100 / 12)


@pytest.mark.parametrize("suffix", [".npy", ".npz", ".csv"])
def test_grid_round_trip(tmp_path: Path, suffix: str) -> None:
    ground, path = bumpy(), tmp_path / f"g{suffix}"
    intake = Intake(unit="m", pixel_mm=1000 * CELL)
    if suffix == ".npy":
        np.save(path, ground.z)
    elif suffix == ".npz":
        np.savez_compressed(path, z=ground.z)
    else:
        np.savetxt(path, ground.z.T[::-1], delimiter=",", fmt="%.17g")
    again, _ = import_ground(path, intake, CELL)
    np.testing.assert_allclose(again.z, ground.z, atol=1e-15)


def test_a_real_elevation_model_becomes_an_obstacle(tmp_path: Path) -> None:
    """The elevation model that ships with a plotting library (403 x 344 posts, 5 m relief per colour aside)."""
    source = Path(matplotlib.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz"
    with np.load(source) as data:
        elevation = data["elevation"]
    ground, report = import_ground(source, Intake(unit="m", shrink=2000.0, pixel_mm=5.0), CELL)
    assert report.nodes == elevation.shape
    assert ground.z.max() == pytest.approx(np.ptp(elevation.astype(float)) / 2000.0)
    save_ground(tmp_path / "fault.ground.npz", ground, Description(schema=1, name="fault", report=report.as_dict()))
    name = str(tmp_path / "fault.ground.npz")
    obstacle = catalog.from_text(name, wheelbase=0.14, tyre_radius=0.028, seed=1)
    before, at = obstacle.crux[0], obstacle.ground
    middle = 0.5 * (at.extent[2] + at.extent[3])
    # Level where the truck starts, the model's own heights from where the obstacle says it begins.
    assert np.ptp(sample(at, np.linspace(-0.14, 0.27, 50), middle)) == 0.0
    expected = sample(ground, np.linspace(0, 1, 40), middle)
    np.testing.assert_allclose(sample(at, before + np.linspace(0, 1, 40), middle), expected, atol=1e-6)
    half = catalog.from_text(name + ":50", wheelbase=0.14, tyre_radius=0.028, seed=1)
    np.testing.assert_allclose(half.ground.z, 0.5 * at.z, atol=1e-12)


def test_a_changed_ground_file_is_another_obstacle(tmp_path: Path) -> None:
    path = tmp_path / "r.ground.npz"
    save_ground(path, bumpy(), Description(schema=1, name="r"))
    name = catalog.parse(str(path)).family
    assert name.startswith(str(path) + file_name.HASH_MARK)
    assert catalog.parse(name).family == name
    save_ground(path, bumpy(100), Description(schema=1, name="r"))
    assert catalog.parse(str(path)).family != name
    with pytest.raises(TerrainError, match="changed"):
        catalog.parse(name)


def test_ground_file_keeps_lane_and_heights(tmp_path: Path) -> None:
    ground = bumpy(401, 201)
    known = Description(schema=1, name="r", lane_mm=((20, 0), (400, 30), (700, -20)), lane_half_width_mm=90)
    save_ground(tmp_path / "r.ground.npz", ground, known)
    again, same = load_ground(tmp_path / "r.ground.npz")
    assert same == known
    np.testing.assert_allclose(again.z, ground.z, rtol=1e-7, atol=1e-9)
    obstacle = catalog.from_text(str(tmp_path / "r.ground.npz"), wheelbase=0.14, tyre_radius=0.028, seed=1)
    assert (obstacle.start.x, obstacle.start.y) == (0.02, 0.0)
    assert obstacle.start.heading == pytest.approx(math.atan2(30, 380))
    length = math.hypot(380, 30) + math.hypot(300, 50)
    assert obstacle.finish_s == pytest.approx(0.001 * length - 0.14)
    assert obstacle.lane_half_width == pytest.approx(0.09)


@pytest.mark.parametrize(
    ("lane", "says"),
    [
        ([(0, 0), (9, 0)], "outside"),
        ([(0, 0), (0.1, 0)], "100 mm long"),
        ([(0, 0), (0, 0), (0.5, 0)], "twice"),
        ([(0, 0)], "two or more"),
    ],
)
def test_bad_lanes(lane: list[tuple[float, float]], says: str) -> None:
    with pytest.raises(TerrainError, match=says):
        own_ground.obstacle_on(bumpy(401, 201), YARD, name="r", seed=0, lane=np.array(lane))


def test_narrow_ground_is_refused() -> None:
    with pytest.raises(TerrainError, match="wide"):
        own_ground.obstacle_on(bumpy(401, 41), YARD, name="r", seed=0)


def test_resampling_a_bilinear_surface_onto_half_its_cell_is_exact() -> None:
    ground = bumpy()
    fine = resampled(ground, 0.5 * CELL)
    np.testing.assert_allclose(fine.z[::2, ::2], ground.z, atol=1e-15)
    np.testing.assert_allclose(fine.z[1::2, ::2], 0.5 * (ground.z[1:] + ground.z[:-1]), atol=1e-12)
