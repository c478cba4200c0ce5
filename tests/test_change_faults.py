"""Wrong changes get one clear message, to the letter."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from models import scenario
from models.change import load_change
from models.configuration import load_configuration
from models.errors import BuildSheetError

BUILD = scenario.builds()[0]
CASES = tomllib.loads((Path(__file__).parent / "change_faults.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("fault", CASES["fault"], ids=[case["message"].split("\n")[0][-40:] for case in CASES["fault"]])
def test_message(tmp_path: Path, fault: dict[str, str]) -> None:
    file = tmp_path / "trial.toml"
    file.write_text(f'schema = 1\nname = "trial"\n{fault["change"]}\n', encoding="utf-8")
    with pytest.raises(BuildSheetError) as found:
        load_configuration(BUILD, [file])
    assert str(found.value) == fault["message"]


@pytest.mark.parametrize("fault", CASES["pair"], ids=[case["message"].split("\n")[0][-40:] for case in CASES["pair"]])
def test_changes_that_do_not_go_together(tmp_path: Path, fault: dict[str, str]) -> None:
    files = []
    for name in ("one", "other"):
        files.append(tmp_path / f"{name}.toml")
        files[-1].write_text(f'schema = 1\nname = "{name}"\n{fault[name]}\n', encoding="utf-8")
    with pytest.raises(BuildSheetError) as found:
        load_configuration(BUILD, files)
    assert str(found.value) == fault["message"]


def test_the_same_change_twice() -> None:
    battery = scenario.change("gundi", "battery-forward")
    with pytest.raises(BuildSheetError) as found:
        load_configuration(BUILD, [battery, battery])
    assert str(found.value) == (
        'battery-forward.toml: change "battery forward": is given twice.\n'
        "  Leave one out, or give the second its own name."
    )


def test_a_change_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BuildSheetError) as found:
        load_change(tmp_path / "none.toml")
    assert str(found.value) == f"none.toml: no such file in {tmp_path}.\n  Check the spelling and the folder."


def test_a_build_sheet_given_as_a_change() -> None:
    with pytest.raises(BuildSheetError) as found:
        load_change(BUILD)
    assert str(found.value).startswith("gundi.toml: wheelbase_mm = 134: there is no such key.")
