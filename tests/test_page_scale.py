"""Readings on the page: typed, fitted as ``cragbench fit`` does, written as a new sheet."""

from __future__ import annotations

import html
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote

import pytest
from page_server import Served, served

from models.bench.account import account
from models.bench.readings import load_readings
from models.bench.session import fit, write
from models.scenario import DATA, builds

TYPED = {
    "sheet": "gundi.toml", "whole": "338, 338, 336 g", "step": "1 g", "axles.front": "176 g", "axles.rear": "6,2 oz",
    "wheelbase": "133,5 mm", "locked": "yes", "lift.0.raised": "rear", "lift.0.height": "54 mm",
    "lift.0.load": "198, 200 g", "lift.0.going": "up", "part.battery": "58 g", "tipped_left": "41 deg",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("scale")
    (made / "readings").mkdir()
    shutil.copy(builds()[0], made / "gundi.toml")
    shutil.copy(DATA / "readings" / "gundi.toml", made / "readings" / "gundi.toml")
    return made


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with served(folder) as running:
        yield running


def test_fit_and_new_sheet_are_those_of_the_command(page: Served, folder: Path, tmp_path: Path) -> None:
    assert "readings/gundi.toml" in page.ask("/scale?sheet=gundi.toml")[2]
    files = {"sheet": "gundi.toml", "readings": "readings/gundi.toml"}
    status, _, text = page.ask(f"/scale/fit?sheet={files['sheet']}&readings={files['readings']}")
    assert status == 200
    done = fit(folder / "gundi.toml", folder / "readings" / "gundi.toml")
    told = account(done)
    said = html.unescape(text).replace("±", "+-")
    for row in (*told.checks, *told.moves, *told.following):
        assert all(cell in said for cell in row)
    assert told.known in said
    assert "simulated readings" in said
    status, headers, _ = page.ask("/scale/write", {**files, "name": "Gundi weighed"})
    assert status == 303
    assert headers["location"].endswith("/truck?sheet=gundi-weighed.toml")
    write(done, tmp_path / "by-hand.toml", "Gundi weighed")
    assert (folder / "gundi-weighed.toml").read_bytes() == (tmp_path / "by-hand.toml").read_bytes()
    # Again: another file, never the same one written over.
    assert page.ask("/scale/write", {**files, "name": "Gundi weighed"})[1]["location"].endswith("gundi-weighed-2.toml")


def test_typed_readings_are_kept_as_a_file_that_the_command_reads(page: Served, folder: Path) -> None:
    status, headers, _ = page.ask("/scale/readings", TYPED)
    assert status == 303
    name = unquote(headers["location"].rpartition("readings=")[2])
    kept = load_readings(folder / name)
    assert kept.whole == ("338 g", "338 g", "336 g")
    assert kept.axles is not None
    assert kept.axles.rear == ("6.2 oz",)
    assert kept.wheelbase == "133.5 mm"
    assert kept.suspension == "locked"
    assert [(one.raised, one.height, one.load) for one in kept.lift] == [("rear", "54 mm", ("198 g", "200 g"))]
    assert [(one.name, one.mass) for one in kept.part] == [("battery", ("58 g",))]
    assert kept.tipped_left == "41 deg"
    done = fit(folder / "gundi.toml", folder / name)
    # Two fifths over the rear axle: 6.2 oz of 176 g + 6.2 oz, in grams of 28.3495 each.
    assert done.fit.scale_g == pytest.approx(337.3, abs=1.0)
    assert page.ask(f"/scale/fit?sheet=gundi.toml&readings={name}")[0] == 200


@pytest.mark.parametrize(("key", "value", "says"), [
    ("whole", "338 blobs", "blobs"), ("axles.rear", "", "axles"), ("wheelbase", "1,335 mm", "comma"),
    ("whole", "33,8 g", "on the sheet?"), ("lift.0.height", "54, 55 mm", "one value"),
    ("part.battery", "2 kg", "part.battery"), ("sheet", "../gundi.toml", "file"),
])  # fmt: skip
def test_readings_that_cannot_be_are_told_and_not_kept(
    page: Served, folder: Path, key: str, value: str, says: str,
) -> None:
    before = sorted((folder / "readings").iterdir())
    status, _, text = page.ask("/scale/readings", {**TYPED, key: value})
    assert status == 422
    assert says in html.unescape(text)
    assert str(folder) not in text
    assert sorted((folder / "readings").iterdir()) == before


def test_names_in_readings_are_text(page: Served, folder: Path) -> None:
    nasty = (folder / "readings" / "gundi.toml").read_text(encoding="utf-8")
    (folder / "readings" / "nasty.toml").write_text(nasty.replace('date = "2026-11-14"', "note = '<b>x'"),
                                                    encoding="utf-8")
    assert "<b>" not in page.ask("/scale?sheet=gundi.toml")[2]
