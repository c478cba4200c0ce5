"""A blank readings file, a tipping angle in one field, and Enter at the keyboard."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from models import scenario
from models.bench.blank import blank_readings
from models.bench.measure_tyres import tilt_readings
from models.bench.readings import load_readings
from models.bench.session import weigh
from models.errors import BuildSheetError
from models.sheet import load_sheet
from sim.cli.asking import ask_for_readings
from sim.cli.main import main

BUILD = next(b for b in scenario.builds() if b.stem == "gundi")


def test_blank_file_filled_in_is_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "weighed.toml"
    with pytest.raises(SystemExit) as end:
        main(["weigh", str(file), "--new", "--sheet", str(BUILD)])
    assert end.value.code == 0
    assert "Fill it in" in capsys.readouterr().out
    text = file.read_text(encoding="utf-8")
    filled = (text.replace('[" g", " g", " g"]', '["318 g", "317 g", "318 g"]')
              .replace('front = [" g"]', 'front = ["160 g"]').replace('rear = [" g"]', 'rear = ["158 g"]')
              .replace('# tipped_left = " deg"', 'tipped_left = "41 deg"'))
    file.write_text(filled, encoding="utf-8")
    found = weigh(file, load_sheet(BUILD))
    assert 1e3 * found.balance.results["mass"].value == pytest.approx(318, abs=1)
    assert [(t.to, round(math.degrees(t.angle.value), 6)) for t in tilt_readings(load_readings(file))] == [("left", 41)]
    with pytest.raises(SystemExit) as end:
        main(["weigh", str(file), "--new"])
    assert end.value.code == 2


def test_blank_file_holds_any_name(tmp_path: Path) -> None:
    file = tmp_path / "weighed.toml"
    file.write_text(blank_readings('a "quoted"\nname', "care"), encoding="utf-8")
    assert load_readings(file).truck == 'a "quoted" name'


def test_one_field_and_a_table_say_the_same(tmp_path: Path) -> None:
    file = tmp_path / "once.toml"
    file.write_text('schema = 1\ntruck = "x"\ntipped_back = "52 deg"\n', encoding="utf-8")
    table = tmp_path / "table.toml"
    table.write_text('schema = 1\ntruck = "x"\n[[tilt]]\nto = "back"\nangles = ["52 deg"]\n', encoding="utf-8")
    one, other = (tilt_readings(load_readings(f))[0] for f in (file, table))
    assert (one.to, one.angle) == (other.to, other.angle)
    file.write_text('schema = 1\ntruck = "x"\ntipped_back = "152 deg"\n', encoding="utf-8")
    with pytest.raises(BuildSheetError, match="tipped_back"):
        tilt_readings(load_readings(file))


def test_enter_is_taken_where_it_is_said(tmp_path: Path) -> None:
    asked: list[str] = []

    def answer(words: str) -> str:
        asked.append(words)
        return "318 g" if words == "Whole truck" else ""

    file = tmp_path / "asked.toml"
    ask_for_readings(file, load_sheet(BUILD), answer)
    readings = load_readings(file)
    assert readings.scale is not None
    assert readings.scale.step == "1 g"
    assert readings.whole == ("318 g",)
    assert len(asked) == len(set(asked))
