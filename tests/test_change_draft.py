"""Changes written by command: the file does what was asked and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from models import scenario
from models.change import load_change
from models.change_draft import Wish, draft, stays_behind, text_of, value_of
from models.edit import apply
from models.errors import BuildSheetError
from models.sheet import load_sheet
from sim.cli.main import main

BUILD = scenario.builds()[1]
SHEET = load_sheet(BUILD)


def parts(wish: Wish, tmp_path: Path) -> dict:
    file = tmp_path / "change.toml"
    file.write_text(text_of(draft(SHEET, wish)), encoding="utf-8")
    return {part.name: part for part in apply(SHEET, [load_change(file)]).parts}


def test_move_to_and_by(tmp_path: Path) -> None:
    before = {part.name: part for part in SHEET.parts}
    after = parts(Wish("battery", to=[100.0], along=["battery tray"]), tmp_path)
    assert after["battery"].at_mm == (100.0, *before["battery"].at_mm[1:])
    moved = after["battery"].at_mm[0] - before["battery"].at_mm[0]
    assert after["battery tray"].at_mm[0] == pytest.approx(before["battery tray"].at_mm[0] + moved)
    after = parts(Wish("motor", by=[-3.0, 1.0, 2.0]), tmp_path)
    assert after["motor"].at_mm == pytest.approx([a + b for a, b in zip(before["motor"].at_mm, (-3, 1, 2),
                                                                        strict=True)])


def test_remove_add_replace_and_set(tmp_path: Path) -> None:
    assert "sliders" not in parts(Wish("sliders", remove=True), tmp_path)
    added = parts(Wish("winch", add=True, mass=12.0, to=[150, 0, 40], size=[20, 20, 10]), tmp_path)["winch"]
    assert (added.mass_g, added.at_mm, added.size_mm) == (12.0, (150, 0, 40), (20, 20, 10))
    after = parts(Wish("motor", mass=21.0, becomes="big motor"), tmp_path)
    assert after["big motor"].mass_g == 21.0
    assert "motor" not in after
    wheels = parts(Wish("rear tyre and foam", mass=11.0), tmp_path)["rear tyre and foam"]
    assert wheels.mass_each_g == 11.0
    file = tmp_path / "set.toml"
    file.write_text(text_of(draft(SHEET, Wish(set={"servo.stall_kgcm": 2.5}, price=18))), encoding="utf-8")
    change = load_change(file)
    assert apply(SHEET, [change]).servo.stall_kgcm == 2.5
    assert change.cost is not None
    assert change.cost.price == 18


def test_values_are_read_as_toml() -> None:
    assert [value_of(t) for t in ("2.5", "true", "[1, 2]", '"a b"', "steady")] == [2.5, True, [1, 2], "a b", "steady"]


@pytest.mark.parametrize(("wish", "says"), [
    (Wish("batery", to=[1.0]), "no such part"),
    (Wish("battery"), "what is to happen"),
    (Wish(to=[1.0]), "which part"),
    (Wish(), "changes nothing"),
    (Wish("battery", to=[1.0, 2.0]), "x, or x, y, z"),
    (Wish("winch", add=True, mass=5.0), "mass and place"),
    (Wish("battery", to=[9000.0]), "outside the truck"),
    (Wish(set={"servo.stall": 1}), "there is no such key"),
])
def test_what_cannot_be_written(wish: Wish, says: str) -> None:
    with pytest.raises(BuildSheetError, match=says):
        draft(SHEET, wish)


def test_a_tray_left_behind_is_named() -> None:
    assert stays_behind(SHEET, Wish("battery", to=[100.0])) == ("battery tray",)
    assert stays_behind(SHEET, Wish("battery", to=[100.0], along=["battery tray"])) == ()


def test_command_writes_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "forward.toml"
    words = ["change", str(BUILD), "battery", "--to", "115", "--with", "battery tray", "--out", str(target), "--json"]
    with pytest.raises(SystemExit) as end:
        main(words)
    told = json.loads(capsys.readouterr().out)
    assert end.value.code == 0
    assert told["front_percent"]["after"] > told["front_percent"]["before"] + 2
    assert load_change(target).move[0].part == "battery"
    with pytest.raises(SystemExit) as end:
        main(words)
    assert end.value.code == 2
    assert "never overwritten" in capsys.readouterr().err
