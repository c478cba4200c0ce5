"""A sheet from twelve answers: accepted, true to the scale readings, every value marked."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from models.answers import QUESTIONS, answers_of
from models.configuration import configure
from models.errors import BuildSheetError
from models.massprops import truck_properties, wheel_loads
from models.sheet import load_sheet
from models.spec import Sheet
from models.start import start
from models.start_text import text_of
from models.statics import statics
from sim.cli.main import main
from sim.cli.start_cmd import start as command

WEIGHED = {
    "one twenty-fourth": {
        "scale": "1/24", "wheelbase": 140, "track": 82, "tyre_diameter": "56 mm", "tyre_width": 21, "mass": 402,
        "front": "219 g", "rear": 183, "battery": "0.99 oz", "battery_at": "rear", "weighed": "servo 12, wheels 17 g",
    },
    "portal": {
        "scale": 18, "wheelbase": "6.5 in", "track": "104 / 100", "tyre_diameter": 62, "tyre_width": 25,
        "mass": "812 g", "front": 430, "rear": 383, "left": 409, "battery_at": 140, "portal_drop": 7,
        "weighed": {"motor": 36, "rear axle": 60},
    },
    "one tenth": {"scale": "1:10", "mass": "3.1 kg", "front": 1610},
    "between scales": {"scale": "1/12", "front": 700, "rear": 800},
    "one mass only": {"scale": "1/14", "mass": 1200},
}  # fmt: skip


def called(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(words))
    told = capsys.readouterr()
    return int(end.value.code or 0), told.out, told.err


def made(tmp_path: Path, answers: dict) -> Sheet:
    file = tmp_path / "truck.toml"
    file.write_text(text_of(start(answers_of("Truck", answers))), encoding="utf-8")
    return load_sheet(file)


@pytest.mark.parametrize("name", WEIGHED)
def test_the_sheet_weighs_what_the_scale_said(name: str, tmp_path: Path) -> None:
    answers = answers_of("Truck", WEIGHED[name])
    sheet = made(tmp_path, WEIGHED[name])
    loads = wheel_loads(sheet)
    if answers.total_g is not None:
        assert 1e3 * truck_properties(sheet).mass == pytest.approx(answers.total_g, rel=1e-3)
    if answers.front_g is not None:
        assert sum(loads.grams[:2]) == pytest.approx(answers.front_g, rel=1e-3)
        assert sum(loads.grams[2:]) == pytest.approx(answers.rear_g, rel=1e-3)
    if answers.left_g is not None:
        assert loads.grams[0] + loads.grams[2] == pytest.approx(answers.left_g, rel=1e-3)
    for part in sheet.parts:
        assert part.source in ("measured", "assumed")


@pytest.mark.parametrize("name", ["one twenty-fourth", "portal"])
def test_it_is_a_truck_that_stands_and_drives(name: str, tmp_path: Path) -> None:
    numbers = statics(configure(made(tmp_path, WEIGHED[name])).sheet)
    assert 30.0 < numbers.tip_deg.left < 55.0
    assert 10.0 < numbers.belly_clearance_mm < 60.0
    assert numbers.linkage_error_mm < 3.0


def test_a_truck_that_is_light_throughout_is_one(tmp_path: Path) -> None:
    """A bare 1/10 of 1.7 kg: far from usual part by part, within what whole trucks weigh."""
    answers = answers_of("Truck", {"scale": "1/10", "mass": 1700, "front": 920})
    started = start(answers)
    assert started.notes[0].startswith("all that was not weighed alone is taken to be 0.54 times as heavy")
    loads = wheel_loads(made(tmp_path, {"scale": "1/10", "mass": 1700, "front": 920}))
    assert sum(loads.grams) == pytest.approx(1700, rel=1e-3)
    assert sum(loads.grams[:2]) == pytest.approx(920, rel=1e-3)


def test_what_was_weighed_alone_stands(tmp_path: Path) -> None:
    parts = {part.name: part for part in made(tmp_path, WEIGHED["one twenty-fourth"]).parts}
    assert parts["steering servo"].mass_g == 12.0
    assert parts["front wheel and tyre"].mass_each_g == parts["rear wheel and tyre"].mass_each_g == 17.0
    assert parts["battery"].mass_g == pytest.approx(0.99 * 28.3495, rel=1e-3)
    measured = {name for name, part in parts.items() if part.source == "measured"}
    assert measured == {"steering servo", "front wheel and tyre", "rear wheel and tyre", "battery"}


def test_every_line_with_a_value_says_measured_or_assumed(tmp_path: Path) -> None:
    text = text_of(start(answers_of("Truck", WEIGHED["one tenth"])))
    body = text[text.index("scale ="):text.index("[weighed]")]
    for line in body.splitlines():
        if "=" in line and not line.startswith(("parts", "assumed")):
            assert "measured" in line or "assumed" in line, line
    assert tomllib.loads(text)["assumed"] == [
        "wheelbase_mm", "axles.front.track_mm", "tyres.front.outside_diameter_mm", "tyres.front.width_mm",
        "axles.rear.track_mm", "tyres.rear.outside_diameter_mm", "tyres.rear.width_mm",
    ]  # fmt: skip


def test_short_blocks_are_filled_and_listed(tmp_path: Path) -> None:
    sheet = made(tmp_path, WEIGHED["one tenth"])
    for key in ("axles.front.links", "axles.rear.shock.rate_n_per_mm", "hull", "motor.kv_rpm_per_v",
                "battery.voltage_v", "driveline.reduction", "servo.stall_kgcm", "axles.front.steer_deg"):
        assert key in sheet.assumed
    assert {shape.name for shape in sheet.hull} >= {"front bumper", "rear bumper", "skid", "body tub"}


def test_a_block_that_is_half_there_keeps_what_it_says(tmp_path: Path) -> None:
    text = text_of(start(answers_of("Truck", WEIGHED["one tenth"])))
    file = tmp_path / "truck.toml"
    file.write_text(text + "\n[axles.front.shock]\nrate_n_per_mm = 0.33\n\n[motor]\nkv_rpm_per_v = 1200\n")
    sheet = load_sheet(file)
    assert (sheet.axles.front.shock.rate_n_per_mm, sheet.motor.kv_rpm_per_v) == (0.33, 1200)
    assert "axles.front.shock.rate_n_per_mm" not in sheet.assumed
    assert "axles.front.shock.bump_mm" in sheet.assumed
    assert "motor.kv_rpm_per_v" not in sheet.assumed


def test_twelve_questions_at_most() -> None:
    assert len(QUESTIONS) <= 12


@pytest.mark.parametrize(("answers", "says"), [
    ({"mass": 400}, "the scale is needed"),
    ({"scale": "1/3"}, "is no scale of these trucks"),
    ({"scale": 24, "mass": 400, "front": 300, "rear": 180}, "front and rear sum to 480 g, the whole truck is 400 g"),
    ({"scale": 24, "mass": 400, "front": 380}, "the front axle would carry 95 %"),
    ({"scale": 24, "mass": "14.1"}, "280 to 620 g are usual\\)\\.\n  In ounces it would be 400 g"),
    ({"scale": 24, "tyre_diameter": 5.5}, "In centimetres it would be 55 mm: write the unit behind it"),
    ({"scale": 12, "mass": 1460, "tyre_diameter": "90 / 32"}, "tyre_diameter = 32: is far from any 1/12 truck"),
    ({"scale": 24, "mass": 400, "weighed": "servo 300"}, "no usual 1/24 truck shows these readings"),
    ({"scale": 24, "mass": 400, "left": 300}, "75 % of the truck"),
    ({"scale": 24, "weighed": "winch 20"}, "a typical truck has no such part"),
    ({"scale": 24, "weighed": "front 20"}, "this could be more than one part"),
    ({"scale": 24, "wheelbase": "wide"}, "is no number"),
    ({"scale": 24, "weel": 3}, "nothing of this name is asked"),
])
def test_answers_that_are_none(answers: dict, says: str) -> None:
    with pytest.raises(BuildSheetError, match=says):
        start(answers_of("Truck", answers))


def test_command_with_an_answers_file_and_json(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "answers.toml").write_text('scale = "1/24"\nmass = 402\nfront = "219 g"\n', encoding="utf-8")
    code, out, _ = called(capsys, "start", "My Truck", "--answers", "answers.toml", "--json")
    found = json.loads(out)
    assert code == 0
    assert found["sheet"] == "my-truck.toml"
    assert found["mass_g"] == pytest.approx(402, rel=1e-3)
    assert [Path(p).stat().st_size > 10_000 for p in found["pictures"]] == [True]
    code, _, err = called(capsys, "start", "My Truck", "--scale", "24", "--json")
    assert code == 2
    assert "never overwritten" in err


def test_asked_at_the_keyboard_a_wrong_answer_is_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import typer

    monkeypatch.chdir(tmp_path)
    app = typer.Typer()
    app.command()(command)
    monkeypatch.setattr("sim.cli.start_cmd._terminal", lambda: True)
    said = "1/2\n1/24\n140\n\n56\n\n420\nback\n402\n219\n\n28\nrear\nwinch 30\nservo 300\ntyres 9\nservo 12\n"
    result = CliRunner().invoke(app, ["Truck"], input=said)
    assert result.exit_code == 0, result.output
    sheet = load_sheet(tmp_path / "truck.toml")
    assert sum(wheel_loads(sheet).grams[:2]) == pytest.approx(219, rel=1e-3)
    assert result.output.count("Scale [") == 2
    assert "Rear wheels" not in result.output
    assert "a tyre is no part by itself" in result.output
    assert "no usual 1/24 truck shows these readings" in result.output
    assert "no such part" in result.output  # told while it can still be mended, not after the last answer
