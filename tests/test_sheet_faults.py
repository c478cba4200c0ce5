"""Every wrong input gets one clear message: file, field, value, problem and remedy, to the letter."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from models import scenario
from models.errors import BuildSheetError, shown
from models.sheet import load_sheet

GOOD = scenario.builds()[0].read_text(encoding="utf-8")

FAULTS = tomllib.loads((Path(__file__).parent / "sheet_faults.toml").read_text(encoding="utf-8"))["fault"]


@pytest.mark.parametrize("fault", FAULTS, ids=[fault["message"].split(":")[0] for fault in FAULTS])
def test_message(tmp_path: Path, fault: dict[str, str]) -> None:
    old, new = fault["old"], fault["new"]
    assert old in GOOD
    file = tmp_path / "truck.toml"
    file.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BuildSheetError) as found:
        load_sheet(file)
    assert str(found.value) == f"truck.toml: {fault['message']}"
    assert str(found.value).count("\n") <= 1


def test_the_sheet_these_faults_are_put_into_is_good(tmp_path: Path) -> None:
    file = tmp_path / "truck.toml"
    file.write_text(GOOD, encoding="utf-8")
    assert load_sheet(file).name == "Gundi"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\xff\xfe\x00", "truck.toml: line 1 is not UTF-8 text.\n  Save the file as UTF-8 in your editor."),
        (
            b"schema = 1\nname = '\xe4'\n",
            "truck.toml: line 2 is not UTF-8 text.\n  Save the file as UTF-8 in your editor.",
        ),
        (
            b"",
            "truck.toml: schema: is missing.\n"
            "  Put `schema = 1` on the first line: it says which form of sheet this is.\n"
            "truck.toml: name: is missing.\n  Add `name = ...`.\n"
            "truck.toml: scale: is missing.\n  Add `scale = ...`.\n"
            "truck.toml: wheelbase_mm: is missing.\n  Add `wheelbase_mm = ...`, in millimetres.\n"
            "truck.toml: parts: is missing.\n  Add a [[parts]] entry for each part with name, at_mm.\n"
            "truck.toml: axles: is missing.\n  Add the tables [axles.front] and [axles.rear], each with track_mm.\n"
            "truck.toml: tyres: is missing.\n"
            "  Add the tables [tyres.front] and [tyres.rear], each with outside_diameter_mm, width_mm.",
        ),
        (b"a = " + b"[" * 5000, "truck.toml: is nested too deeply.\n  A sheet needs four levels at most."),
    ],
    ids=["other encoding", "stray byte", "empty", "nested"],
)
def test_unreadable_content(tmp_path: Path, content: bytes, message: str) -> None:
    file = tmp_path / "truck.toml"
    file.write_bytes(content)
    with pytest.raises(BuildSheetError) as fault:
        load_sheet(file)
    assert str(fault.value) == message


def test_byte_order_mark_and_windows_line_ends_are_fine(tmp_path: Path) -> None:
    file = tmp_path / "truck.toml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_sheet(file) == load_sheet(scenario.builds()[0])


def test_missing_file_and_folder(tmp_path: Path) -> None:
    (tmp_path / "truck.toml").write_text(GOOD)
    for path, message in (
        (tmp_path / "trukc.toml", f"trukc.toml: no such file in {tmp_path}.\n  Did you mean truck.toml?"),
        (tmp_path / "x" / "y.toml", f"y.toml: no such file in {tmp_path / 'x'}.\n  Check the spelling and the folder."),
        (tmp_path, f"{tmp_path.name}: this is a folder, not a file.\n  Name the .toml file inside it."),
    ):
        with pytest.raises(BuildSheetError) as fault:
            load_sheet(path)
        assert str(fault.value) == message


@pytest.mark.parametrize(
    ("factor", "message"),
    [
        (0.001, "parts: the parts sum to 0.332 g; a 1/24 truck has about 336 g.\n"
                "  These look like kilograms: masses are in grams."),
        (1 / 28.35, "parts: the parts sum to 11.7 g; a 1/24 truck has about 336 g.\n"
                    "  These look like ounces: masses are in grams."),
    ],
    ids=["kilograms", "ounces"],
)  # fmt: skip
def test_masses_in_another_unit(tmp_path: Path, factor: float, message: str) -> None:
    file = tmp_path / "truck.toml"
    file.write_text(re.sub(r"(mass(?:_each)?_g = )([\d.]+)", lambda m: f"{m[1]}{float(m[2]) * factor!r}", GOOD))
    with pytest.raises(BuildSheetError) as fault:
        load_sheet(file)
    assert str(fault.value) == f"truck.toml: {message}"


def test_mesh_that_is_not_there(tmp_path: Path) -> None:
    file = tmp_path / "truck.toml"
    file.write_text(GOOD + '\n[[hull]]\nname = "cage"\nshape = "mesh"\nfile = "cage.stl"\nat_mm = [60, 0, 90]\n')
    with pytest.raises(BuildSheetError) as fault:
        load_sheet(file)
    assert str(fault.value) == (
        f'truck.toml: hull.cage.file = "cage.stl": there is no such mesh file in {tmp_path}.\n'
        "  Put the STL or OBJ there, or give its path relative to this file."
    )
    (tmp_path / "cage.stl").write_text("solid cage\nendsolid\n")
    assert load_sheet(file).hull[-1].file == str(tmp_path / "cage.stl")


def test_text_of_the_user_is_shown_harmlessly() -> None:
    assert shown("\x1b[31mred\n") == '"\\x1b[31mred\\n"'
    assert shown("a" * 200) == '"' + "a" * 59 + '…"'
    assert shown((1.0, 2.5)) == "[1, 2.5]"
    assert shown(True) == "true"
    fault = BuildSheetError("odd.", field="parts.\x07", value=float("inf"), file="/x/\x1b.toml")
    assert str(fault) == "\\x1b.toml: parts.\\x07 = inf: odd."
