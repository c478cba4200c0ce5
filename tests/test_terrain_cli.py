"""``cragbench terrain`` as its user meets it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from typer.testing import CliRunner, Result

from sim.cli.terrain_cmd import app
from terrain.errors import TerrainError
from terrain.families.registry import FAMILIES


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words), catch_exceptions=True)


def answer(*words: str) -> dict[str, object]:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output + repr(result.exception)
    found: dict[str, object] = json.loads(result.stdout)
    return found


@pytest.fixture
def rock(tmp_path: Path) -> Path:
    block = trimesh.creation.box((400, 260, 40))
    stone = trimesh.creation.icosphere(subdivisions=3, radius=50)
    stone.apply_translation([0, 0, 20])
    trimesh.util.concatenate([block, stone]).export(tmp_path / "rock.stl")
    return tmp_path / "rock.stl"


def test_list_names_every_family() -> None:
    text = run("list").stdout
    assert all(name in text for name in FAMILIES)
    result = run("list", "--json")
    assert [entry["name"] for entry in json.loads(result.stdout)] == list(FAMILIES)


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_show_draws(tmp_path: Path, suffix: str) -> None:
    found = answer("show", "ledge-on-slope:30,slope=20", "-o", str(tmp_path / f"x.{suffix}"))
    assert found["family"] == "ledge-on-slope"
    head = (tmp_path / f"x.{suffix}").read_bytes()[:400]
    assert b"PNG" in head or b"svg" in head
    assert [p.name for p in tmp_path.iterdir()] == [f"x.{suffix}"]


def test_import_show_export_round_trip(tmp_path: Path, rock: Path) -> None:
    told = answer("import", str(rock), "-o", str(tmp_path / "yard.ground.npz"))
    assert told["kind"] == "mesh"
    assert told["size_mm"] == pytest.approx([400, 260, 50], abs=0.5)
    ground = str(tmp_path / "yard.ground.npz")
    assert (tmp_path / "yard.ground.png").stat().st_size > 10_000
    answer("show", ground, "-o", str(tmp_path / "again.png"))
    answer("export", ground, "-o", str(tmp_path / "out.stl"), "--base-mm", "5")
    back = answer("import", str(tmp_path / "out.stl"), "-o", str(tmp_path / "back.ground.npz"))
    assert back["size_mm"] == pytest.approx(told["size_mm"], abs=1e-3)
    with np.load(ground) as a, np.load(tmp_path / "back.ground.npz") as b:
        np.testing.assert_allclose(a["z"], b["z"], atol=1e-6)


def test_the_source_is_never_overwritten(tmp_path: Path, rock: Path) -> None:
    answer("import", str(rock), "-o", str(tmp_path / "yard.ground.npz"))
    before = (tmp_path / "yard.ground.npz").read_bytes()
    ground = str(tmp_path / "yard.ground.npz")
    assert isinstance(run("import", ground, "-o", ground).exception, TerrainError)
    assert (tmp_path / "yard.ground.npz").read_bytes() == before


@pytest.mark.parametrize(
    "words",
    [
        ("show", "ledgr:30"),
        ("show", "ledge:30", "-o", "x.gif"),
        ("show", "ledge:30", "-o", "/no/such/folder/x.png"),
        ("show", "ledge:30", "--wheelbase-mm", "0"),
        ("show", "ledge:30", "--scale", "-3"),
        ("import", "nothing.stl"),
        ("export", "ledge:30", "-o", "x.doc"),
        ("export", "gone.ground.npz", "-o", "x.stl"),
    ],
)
def test_mistakes_are_terrain_errors(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]) -> None:
    monkeypatch.chdir(tmp_path)
    assert isinstance(run(*words).exception, TerrainError)
    assert list(tmp_path.iterdir()) == []


def test_names_from_users_never_become_paths_markup_or_mathematics(tmp_path: Path, rock: Path) -> None:
    name = "../../$x^{2}$ 岩 [red]\x1b[31m"
    told = answer("import", str(rock), "-o", str(tmp_path / "y.ground.npz"), "--name", name)
    assert Path(str(told["file"])).parent == tmp_path
    result = run("show", str(tmp_path / "y.ground.npz"), "-o", str(tmp_path / "y.svg"))
    assert result.exit_code == 0
    assert "\x1b" not in result.stdout
    assert "[red]" in result.stdout
