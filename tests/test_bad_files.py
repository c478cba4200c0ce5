"""Files made to hurt: each is refused in one message, at once, without much memory."""

from __future__ import annotations

import io
import json
import os
import resource
import signal
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

from sim.cli.main import main

DESCRIPTION = np.frombuffer(json.dumps({"schema": 1, "name": "rock"}).encode(), dtype=np.uint8)
MEMORY_KB = 500_000


def archive(path: Path, **arrays: object) -> None:
    np.savez(path, **{"z": np.zeros((50, 50), np.float32), "origin": np.zeros(2), "spacing": np.array(0.002),
                      "description": DESCRIPTION} | arrays)  # type: ignore[arg-type]  # fmt: skip


def flipped(path: Path) -> None:
    archive(path, z=np.random.default_rng(1).random((80, 80)).astype(np.float32))
    data = bytearray(path.read_bytes())
    data[400:900] = b"\xff" * 500
    path.write_bytes(data)


def deflated_and_damaged(path: Path) -> None:
    np.savez_compressed(path, z=np.random.default_rng(1).random((80, 80)))
    data = bytearray(path.read_bytes())
    data[200:260] = b"\x00" * 60
    path.write_bytes(data)


def encrypted(path: Path) -> None:
    archive(path)
    data = bytearray(path.read_bytes())
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(mark)
        while at >= 0:
            data[at + offset] |= 1
            at = data.find(mark, at + 4)
    path.write_bytes(data)


def huge_header(path: Path) -> None:
    text = io.BytesIO()
    np.lib.format.write_array_header_1_0(text, {"descr": "<f8", "fortran_order": False, "shape": (10**6, 10**6)})
    with zipfile.ZipFile(path, "w") as out:
        out.writestr("z.npy", text.getvalue())
        for name, value in (("origin", np.zeros(2)), ("spacing", np.array(0.1)), ("description", DESCRIPTION)):
            part = io.BytesIO()
            np.save(part, value)
            out.writestr(f"{name}.npy", part.getvalue())


def no_array(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as out:
        for name in ("z", "origin", "spacing", "description"):
            out.writestr(f"{name}.npy", b"these are no numbers")


def glb(path: Path, **accessor: object) -> None:
    tree = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [{"componentType": 5126, "type": "VEC3", "count": 200_000_000} | accessor,
                      {"componentType": 5125, "type": "SCALAR", "count": 3}],
    }  # fmt: skip
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    path.write_bytes(struct.pack("<4sIII4s", b"glTF", 2, 20 + len(text), len(text), b"JSON") + text)


def deep(depth: int) -> str:
    return "schema = 1\nname = 'x'\nleg = " + "[" * depth + "]" * depth


COURSE = "schema = 1\nname = 'x'\n"
CASES = {
    "damaged.npz": flipped,
    "deflated.npz": deflated_and_damaged,
    "encrypted.npz": encrypted,
    "huge.npz": huge_header,
    "noarray.npz": no_array,
    "origin1.npz": lambda p: archive(p, origin=np.zeros(1)),
    "heights.npz": lambda p: archive(p, z=np.full((50, 50), 1e30)),
    "vector.npz": lambda p: archive(p, spacing=np.array([0.1, 0.2])),
    "complex.npz": lambda p: archive(p, spacing=np.array(1j)),
    "complexz.npz": lambda p: archive(p, z=np.zeros((50, 50), complex)),
    "noground.npz": lambda p: np.savez(p, heights=np.zeros((50, 50)), cellsize=np.array([1.0, 2.0])),
    "nocell.npz": lambda p: np.savez(p, heights=np.zeros((50, 50)), cellsize=np.array(1j)),
    "inf.asc": lambda p: p.write_text("ncols inf\nnrows 3\ncellsize 1\n1 2 3\n"),
    "nan.asc": lambda p: p.write_text("ncols nan\nnrows 3\ncellsize 1\n1 2 3\n"),
    "frac.asc": lambda p: p.write_text("ncols 2.5\nnrows 3\ncellsize 1\n1 2 3\n"),
    "accessor.glb": glb,
    "view.glb": lambda p: glb(p, bufferView=7),
    "points.ply": lambda p: p.write_text("ply\nformat ascii 1.0\nelement vertex 900000000\nproperty float x\n"
                                         "end_header\n"),
    "points.off": lambda p: p.write_text("OFF\n900000000 900000000 0\n"),
    "digits.toml": lambda p: p.write_text(COURSE + f"width_mm = {'9' * 5000}\n"),
    "deep.toml": lambda p: p.write_text(deep(3000)),
    "binary.toml": lambda p: p.write_bytes(bytes(range(256))),
    "pipe.toml": os.mkfifo,
    "pipe.npz": os.mkfifo,
    "pipe.stl": os.mkfifo,
    "zero.toml": lambda p: p.symlink_to("/dev/zero"),
    "zero.npz": lambda p: p.symlink_to("/dev/zero"),
    "zero.obj": lambda p: p.symlink_to("/dev/zero"),
}


def refused(capsys: pytest.CaptureFixture[str], name: str, *arguments: object) -> None:
    """The command line ends with code 2 and one message, soon and without much memory."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    old = signal.signal(signal.SIGALRM, lambda *_: pytest.fail("it hangs"))
    signal.alarm(60)
    try:
        with pytest.raises(SystemExit) as ended:
            main([str(word) for word in arguments])
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, old)
    said = capsys.readouterr().err
    assert ended.value.code == 2, said
    assert "Traceback" not in said
    assert Path(name).stem in said
    assert len(said.splitlines()) < 20
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MEMORY_KB


@pytest.mark.parametrize("name", CASES)
def test_a_bad_ground_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    path = tmp_path / name
    CASES[name](path)
    if path.suffix in (".toml", ".npz"):
        refused(capsys, name, "terrain", "show", f"{path}:100", "--out", tmp_path / "out.png")
    if path.suffix != ".toml":
        refused(capsys, name, "terrain", "import", path, "--out", tmp_path / "n.ground.npz", "--pixel-mm", 2)


@pytest.mark.parametrize("name", ["digits.toml", "deep.toml", "binary.toml", "pipe.toml", "zero.toml"])
@pytest.mark.parametrize("command", [("sheet",), ("plan", "check"), ("batch",)])
def test_a_bad_toml_file_is_refused_by_every_reader(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, command: tuple[str, ...]
) -> None:
    path = tmp_path / name
    CASES[name](path)
    refused(capsys, name, *command, path)


def test_all_faults_of_a_course_are_told_in_its_order(tmp_path: Path) -> None:
    from terrain.course_file import load_course
    from terrain.errors import TerrainError

    path = tmp_path / "c.toml"
    path.write_text("schema = 1\nname = ''\nwide = 3\nwidth_mm = -2\n[[leg]]\nfree_mm = 'long'\n[[leg]]\ngate = 'a'\n"
                    "left_mm = 9e9\n[rules]\nreverse = 'x'\n")  # fmt: skip
    with pytest.raises(TerrainError) as caught:
        load_course(path)
    told = str(caught.value)
    places = ["name", "wide", "width_mm", "leg 1.free_mm", "leg 2.left_mm", "rules.reverse"]
    at = [told.index(place) for place in places]
    assert at == sorted(at)
    assert "width_mm = -2: must be more than 0" in told
    assert "leg 1.free_mm = long: must be a number; write it without quotes" in told
    assert "Input should" not in told
