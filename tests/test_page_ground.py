"""Own ground on the page: the same as the command makes, within limits, and then asked about."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import trimesh
from page_server import Served, served

from models.scenario import builds, changes
from sim.cli.main import main
from sim.page.asker import Teller, levels, written
from sim.page.run_state import RunState
from terrain.ground_file import load_ground

WALL = "scan-of-a-step.stl"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ground")
    shutil.copy(builds()[0], folder / "gundi.toml")
    shutil.copy(next(file for file in changes("gundi") if file.stem == "battery-forward"), folder / "forward.toml")
    return folder


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with served(folder) as running:
        yield running


@pytest.fixture(scope="module")
def scan(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A slab of 900 x 400 mm with a block of 20 mm across it, in mm."""
    slab = trimesh.creation.box((900.0, 400.0, 10.0))
    block = trimesh.creation.box((200.0, 400.0, 20.0))
    block.apply_translation((0.0, 0.0, 15.0))
    file = tmp_path_factory.mktemp("scan") / WALL
    trimesh.util.concatenate([slab, block]).export(file)
    return file.read_bytes()


def send(page: Served, file: str, data: bytes, **fields: str) -> tuple[int, str]:
    mark = "----marks-the-parts"
    parts = [f'--{mark}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
             for key, value in ({"sheet": "gundi.toml"} | fields).items()]
    parts.append(f'--{mark}\r\nContent-Disposition: form-data; name="scan"; filename="{file}"\r\n\r\n'.encode() + data
                 + f"\r\n--{mark}--\r\n".encode())
    status, _, text = page.ask("/ground/bring", b"".join(parts),
                               headers={"Content-Type": f"multipart/form-data; boundary={mark}"})
    return status, text


def test_ground_is_that_of_the_command(
    page: Served, folder: Path, scan: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, text = send(page, WALL, scan, name="Step behind the shed", turn_deg="90", unit="mm", spacing_mm="4,5 mm")
    assert status == 200
    made = folder / "ground" / "step-behind-the-shed.ground.npz"
    assert made.exists()
    (tmp_path / WALL).write_bytes(scan)
    told = tmp_path / "out.ground.npz"
    monkeypatch.setattr(sys, "argv", [
        "cragbench", "terrain", "import", str(tmp_path / WALL), "--out", str(told), "--name", "Step behind the shed",
        "--turn-deg", "90", "--unit", "mm", "--spacing-mm", "4.5", "--truck", str(folder / "gundi.toml"), "--json"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    report = json.loads(capsys.readouterr().out)
    ground, known = load_ground(made)
    same, description = load_ground(told)
    assert np.array_equal(ground.z, same.z)
    assert ground.spacing == same.spacing == pytest.approx(4.5e-3)
    assert known == description
    # Turned by a right angle: as long as the slab is wide.
    assert report["size_mm"][:2] == pytest.approx([400.0, 900.0], abs=2 * 4.5)
    assert f"triangles: {report['triangles']}" in text
    assert page.ask("/file/ground/step-behind-the-shed.ground.png")[1]["content-type"] == "image/png"
    status, headers, text = page.ask("/question/picture?family=ground/step-behind-the-shed.ground.npz&sheet=gundi.toml")
    assert (status, headers["content-type"]) == (200, "image/svg+xml")
    assert "polyline" in text


@pytest.mark.parametrize(("name", "data", "says"), [
    ("rock.exe", b"MZ", "no known kind of ground"),
    ("rock.stl", b"solid rubbish", "rock.stl"),
    ("../../../rock.npz", b"PK\x03\x04", "rock.npz"),
    ("rock.glb", b"glTF" + bytes(60), "rock.glb"),
    ("", b"", "no file was chosen"),
])
def test_what_is_no_ground_is_told_and_not_kept(
    page: Served, folder: Path, name: str, data: bytes, says: str,
) -> None:
    before = sorted(folder.rglob("*"))
    status, text = send(page, name, data)
    assert status == 422
    assert says in text
    assert str(folder) not in text
    assert sorted(folder.rglob("*")) in (before, sorted([*before, folder / ".cragbench-page", folder / "ground"]))


def test_an_ending_alone_is_no_way_out(page: Served, folder: Path, scan: bytes) -> None:
    status, _ = send(page, "../../../../tmp/step.stl", scan, name="../../up <b>")
    assert status == 200
    assert (folder / "ground" / "up-b.ground.npz").exists()
    assert "<b>" not in page.ask("/ground")[2]


def test_more_than_is_allowed_is_refused(page: Served) -> None:
    status, text = send(page, "rock.stl", bytes(65 * 1024 * 1024))
    assert status == 413
    assert "65536 kB" in text


@pytest.mark.parametrize(("field", "value"), [
    ("crop_mm", "1,2,3"), ("relief_mm", "5,1"), ("unit", "furlong"), ("shrink", "0"), ("lane", "1;2"), ("up", "w"),
    ("sheet", "../gundi.toml"), ("pixel_mm", "-2"),
])
def test_bad_fields_are_told_by_name(page: Served, scan: bytes, field: str, value: str) -> None:
    status, text = send(page, WALL, scan, **{field: value})
    assert status == 422
    assert ("file" if field == "sheet" else field) in text


@pytest.mark.slow
def test_a_question_on_own_ground_has_a_plan_that_finds_it(page: Served, folder: Path, scan: bytes) -> None:
    from sim.batch.study import prepare

    assert send(page, WALL, scan, name="plain step")[0] == 200
    assert "<span>plain-step</span>" in page.ask("/question?family=ground/plain-step.ground.npz")[2]
    job = {"plan": "questions/own.toml", "build": "gundi.toml", "families": ["ground/plain-step.ground.npz"],
           "changes": [{"name": "battery forward", "file": "forward.toml"}], "name": "own", "repeats": 2}
    own = folder / ".cragbench-page"
    own.mkdir(exist_ok=True)
    text = written(job, levels(job, folder, Teller(own / "run-own.json", RunState("own", "plan", job)))[0])
    assert str(folder) not in text
    (folder / "questions").mkdir()
    (folder / job["plan"]).write_text(text, encoding="utf-8")
    study = prepare(folder / job["plan"])
    assert [Path(one.family.partition("#")[0]) for one in study.plan.obstacle] == [
        folder.resolve() / "ground" / "plain-step.ground.npz"]
