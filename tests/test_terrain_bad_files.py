"""Files that are no ground: one plain line each, and nothing half-written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image

from terrain import catalog
from terrain.errors import TerrainError
from terrain.ground_file import Description, load_ground, save_ground
from terrain.heightfield import Heightfield
from terrain.importing import import_ground
from terrain.intake import Intake

PIXEL = Intake(pixel_mm=5, relief_mm=(0, 50))
POINTS = (
    "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nend_header\n"
    "0 0 0\n1 0 0\n0 1 0\n"
)
TEXTS = {
    "prose.stl": ("this is not a mesh\n" * 20, "triangles|read"),
    "empty.stl": ("", "empty"),
    "points.ply": (POINTS, "point cloud"),
    "line.obj": ("v 0 0 0\nv 0 0 1\nv 0 0 2\nf 1 2 3\n", "zero area"),
    "nan.obj": ("v 0 0 0\nv nan 0 1\nv 0 100 2\nf 1 2 3\n", "not numbers"),
    "index.obj": ("v 0 0 0\nv 1 0 1\nv 0 1 2\nf 1 2 9\n", "read|not there"),
    "ragged.csv": ("1,2,3\n4,5\n", "columns changed"),
    "words.csv": ("a,b\nc,d\n", "not a height grid"),
    "short.asc": ("ncols 3\nnrows 3\ncellsize 50\n1 2 3\n4 5 6\n", "promises 9"),
    "headless.asc": ("hello\n1 2 3\n", "header"),
    "huge.asc": ("ncols 900000\nnrows 900000\ncellsize 1\n1\n", "limit"),
    "what.txt": ("1 2 3", "no known kind"),
    "broken.npz": ("PK nothing", "not an archive of arrays"),
}


@pytest.mark.parametrize("name", TEXTS)
def test_text_files(tmp_path: Path, name: str) -> None:
    content, says = TEXTS[name]
    (tmp_path / name).write_text(content)
    refused(tmp_path / name, says)


def refused(path: Path, says: str, intake: Intake = PIXEL) -> None:
    with pytest.raises(TerrainError, match=says) as error:
        import_ground(path, intake, 0.002)
    assert "\n" not in str(error.value)
    assert path.name in str(error.value) or error.value.field is not None


@pytest.mark.parametrize(
    ("z", "says"),
    [
        (np.full((40, 40), np.nan), "missing"),
        (np.array([[0.0, np.inf], [0.0, 0.0]]), "infinite"),
        (np.zeros((3, 3, 3)), "2 x 2"),
        (np.zeros((1, 50)), "2 x 2"),
        (np.array([["a", "b"], ["c", "d"]]), "instead of numbers"),
        (np.zeros((6000, 6000), dtype=np.int8), "limit"),
    ],
)
def test_arrays(tmp_path: Path, z: np.ndarray, says: str) -> None:
    np.save(tmp_path / "g.npy", z)
    refused(tmp_path / "g.npy", says)


def test_pickled_objects_are_never_loaded(tmp_path: Path) -> None:
    np.save(tmp_path / "g.npy", np.array([{}, 1], dtype=object), allow_pickle=True)
    refused(tmp_path / "g.npy", "objects")
    np.savez(tmp_path / "g.npz", z=np.array([[{}, 1]], dtype=object))
    refused(tmp_path / "g.npz", "objects instead of numbers")


def test_archive_that_unpacks_to_gigabytes_is_refused_unread(tmp_path: Path) -> None:
    np.savez_compressed(tmp_path / "bomb.npz", z=np.zeros((9000, 9000), dtype=np.float32))
    refused(tmp_path / "bomb.npz", "unpacks to")


def test_images(tmp_path: Path) -> None:
    Image.fromarray(np.zeros((50, 60, 3), dtype=np.uint8)).save(tmp_path / "rgb.png")
    refused(tmp_path / "rgb.png", "colour")
    Image.fromarray(np.arange(3000, dtype=np.uint16).reshape(50, 60)).save(tmp_path / "grey.png")
    refused(tmp_path / "grey.png", "--pixel-mm", Intake())
    refused(tmp_path / "grey.png", "--relief-mm", Intake(pixel_mm=2))
    refused(tmp_path / "grey.png", "only a mesh can be turned", Intake(pixel_mm=2, relief_mm=(0, 9), turn_deg=5))
    (tmp_path / "cut.png").write_bytes((tmp_path / "grey.png").read_bytes()[:200])
    refused(tmp_path / "cut.png", "not an image")


def test_decompression_bomb(tmp_path: Path) -> None:
    """A few kilobytes that promise 400 million pixels, past Pillow's own alarm."""
    Image.new("1", (20000, 20000)).save(tmp_path / "bomb.png")
    refused(tmp_path / "bomb.png", "limit")
    Image.new("1", (9000, 9000)).save(tmp_path / "big.png")
    refused(tmp_path / "big.png", "limit")


def test_units_that_make_a_thirty_metre_rock(tmp_path: Path) -> None:
    trimesh.creation.box((30, 20, 8)).export(tmp_path / "rock.stl")
    refused(tmp_path / "rock.stl", "30 m long", Intake(unit="m"))
    refused(tmp_path / "rock.stl", "mm across", Intake())
    trimesh.creation.box((1, 1, 8)).export(tmp_path / "tower.stl")
    refused(tmp_path / "tower.stl", "8 m high", Intake(unit="m"))


def test_crop_beside_the_mesh(tmp_path: Path) -> None:
    trimesh.creation.box((300, 200, 80)).export(tmp_path / "rock.stl")
    refused(tmp_path / "rock.stl", "spans -150, 150", Intake(crop_mm=(500, 600, 0, 10)))


def test_grid_finer_than_the_limit(tmp_path: Path) -> None:
    trimesh.creation.box((3000, 2000, 80)).export(tmp_path / "yard.stl")
    refused(tmp_path / "yard.stl", "limit", Intake(spacing=1e-4))


@pytest.mark.parametrize(
    "wrong",
    [
        {"unit": "km"},
        {"up": "w"},
        {"shrink": 0.0},
        {"shrink": float("nan")},
        {"crop_mm": (5.0, 1.0, 0.0, 1.0)},
        {"relief_mm": (5.0, 5.0)},
        {"thin_mm": -1.0},
        {"pixel_mm": -2.0},
    ],
)
def test_options(wrong: dict[str, object]) -> None:
    with pytest.raises(TerrainError):
        Intake(**wrong)  # type: ignore[arg-type]


def test_a_failed_save_leaves_the_old_file_and_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "r.ground.npz"
    ground = Heightfield.of(np.zeros((4, 4)), (0.0, 0.0), 0.1)
    save_ground(path, ground, Description(schema=1, name="old"))

    def full_disk(file: Path, **arrays: object) -> None:
        Path(file).write_bytes(b"half")
        raise OSError("No space left on device")

    monkeypatch.setattr(np, "savez_compressed", full_disk)
    with pytest.raises(OSError, match="space"):
        save_ground(path, ground, Description(schema=1, name="new"))
    assert load_ground(path)[1].name == "old"
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("name", ["gone.ground.npz", "prose.ground.npz", "gone.toml"])
def test_ground_files_that_are_none(tmp_path: Path, name: str) -> None:
    if not name.startswith("gone"):
        (tmp_path / name).write_text("hello")
    with pytest.raises(TerrainError, match=name):
        catalog.from_text(str(tmp_path / name), wheelbase=0.14, tyre_radius=0.028, seed=1)


def test_ground_file_with_a_description_of_something_else(tmp_path: Path) -> None:
    np.savez(
        tmp_path / "r.ground.npz",
        z=np.zeros((5, 5)),
        origin=np.zeros(2),
        spacing=np.array(0.1),
        description=np.frombuffer(b'{"schema": 1, "name": "x", "colour": 3}', dtype=np.uint8),
    )
    with pytest.raises(TerrainError, match="colour"):
        load_ground(tmp_path / "r.ground.npz")
