"""``cragbench shift`` across and upwards, from the command line to the pictures; trials are stand-ins."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from models import scenario
from models.massprops import truck_properties
from models.sheet import load_sheet
from sim.batch import session
from sim.cli.main import main

GUNDI = load_sheet(scenario.builds()[0])


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the truck; its trials are stand-ins that know only its mass."""
    monkeypatch.setattr(session, "PERFORM", "fake_trial:perform_truck")
    monkeypatch.chdir(tmp_path)
    return Path(shutil.copy(scenario.builds()[0], tmp_path))


def call(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of ``cragbench shift``."""
    with pytest.raises(SystemExit) as ended:
        main(["shift", *arguments])
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), " ".join(out.split()), " ".join(err.split())


def found(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    """What it says as data."""
    code, out, _ = call(capsys, *arguments, "--json", "--formats", "", "--workers", "1", "--luck-only")
    assert code == 0
    data: dict[str, Any] = json.loads(out)
    return data


def test_across(capsys: pytest.CaptureFixture[str], build: Path) -> None:
    data = found(capsys, str(build), "battery", "--axis", "y", "--to", "12")
    # The rear tyres' inner walls stand at 40 - 10 mm; half the pack is 15.
    assert data["free_mm"] == [[pytest.approx(-15.0, abs=0.3), pytest.approx(15.0, abs=0.3)]]
    moved = next(row for row in data["statics"] if row["at_mm"] == 12.0)
    now = next(row for row in data["statics"] if row["at_mm"] == 0.0)
    assert moved["front_percent"] == pytest.approx(now["front_percent"], abs=1e-9)
    assert moved["tip_deg"]["left"] < now["tip_deg"]["left"]
    assert moved["tip_deg"]["right"] > now["tip_deg"]["right"]
    assert "battery at y = 12 mm (now 0)" in data["sentence"]
    assert data["front_axle_g"] == {"same_bias": 0.0, "same_climb": 0.0}


def test_across_says_what_the_other_side_does(capsys: pytest.CaptureFixture[str], build: Path) -> None:
    code, out, _ = call(capsys, str(build), "battery", "--axis", "y", "--to", "12", "--workers", "1", "--luck-only",
                        "--formats", "png")
    assert code == 0
    assert "it tips to the left (uphill right) at" in out
    assert "battery along y" in out
    assert (build.parent / "gundi-decisions" / "shift-battery.png").stat().st_size > 10_000


def test_upwards(capsys: pytest.CaptureFixture[str], build: Path) -> None:
    data = found(capsys, str(build), "battery", "--axis", "z", "--to", "65.5")
    moved = next(row for row in data["statics"] if row["at_mm"] == 65.5)
    now = next(row for row in data["statics"] if row["at_mm"] == 55.5)
    # 30 g up by 10 mm raises the whole truck's centre of gravity by their share; every angle gets smaller.
    assert all(moved["tip_deg"][side] < now["tip_deg"][side] for side in ("left", "right", "back", "front"))
    whole = truck_properties(GUNDI)
    assert 0.030 / whole.mass * 10.0 == pytest.approx(0.9, abs=0.05)
    # It ends at the truck's underside, 26 mm up at the skid, not at its wheels; and at the top of the shell.
    assert data["room_mm"] == [pytest.approx(26.0 + 7.5), pytest.approx(102.0 - 7.5)]


@pytest.mark.parametrize(("arguments", "words"), [
    (("--axis", "q"), "Choose x, y or z"),
    (("--axis", "y", "--to", "40"), "y = 40 mm is out of reach"),
    (("--axis", "z", "--to", "5"), "from 34 mm (the truck's underside)"),
    (("--axis", "z", "--to", "200"), "(the truck's top)"),
    (("--axis", "z", "--lift", "4"), "Give --to alone"),
    (("--to", "115", "--lift", "60"), "z = 115.5 mm, out of the truck"),
    (("--to", "115", "--formats", "bmp"), "Choose from: png, svg, pdf"),
])
def test_limits_are_told(capsys: pytest.CaptureFixture[str], build: Path, arguments: tuple[str, ...],
                         words: str) -> None:
    code, _, err = call(capsys, str(build), "battery", *arguments)
    assert code == 2
    assert words in err
    assert "Traceback" not in err
