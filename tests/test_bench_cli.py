"""The bench's commands as a user meets them: results, files, mistakes with exit code 2."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from models import scenario
from sim.cli.main import main

BUILD = scenario.builds()[0]
READINGS = scenario.DATA / "readings" / "gundi.toml"


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    """Exit code, output and errors of one command line."""
    code = 0
    try:
        main([str(word) for word in words])
    except SystemExit as end:
        code = int(end.code or 0)
    told = capsys.readouterr()
    return code, told.out, told.err


def test_weigh_prints_and_gives_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(capsys, "weigh", READINGS, "--sheet", BUILD)
    assert code == 0
    assert "simulated readings" in out
    assert "cross (front right + rear left)" in out
    code, out, _ = run(capsys, "weigh", READINGS, "--sheet", BUILD, "--json", "--chart", tmp_path / "lifts")
    data = json.loads(out)
    assert code == 0
    assert data["mass_g"]["low"] < data["mass_g"]["value"] < data["mass_g"]["high"]
    assert len(data["lifts"]) == 10
    assert all(Path(file).stat().st_size > 1000 for file in data["charts"])


def test_fit_writes_once_and_tells_what_to_measure_next(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    before = BUILD.read_bytes()
    target = tmp_path / "new.toml"
    code, out, _ = run(capsys, "fit", BUILD, READINGS, "--out", target, "--chart", tmp_path / "moved.png")
    assert code == 0
    assert "What to measure next" in out
    assert "unaccounted" in out
    assert target.exists()
    assert (tmp_path / "moved.png").exists()
    assert BUILD.read_bytes() == before
    code, _, err = run(capsys, "fit", BUILD, READINGS, "--out", target)
    assert code == 2
    assert "never overwritten" in err
    code, out, _ = run(capsys, "fit", BUILD, READINGS, "--json")
    assert code == 0
    assert json.loads(out)["written"] is None


def test_measure_guides_and_works_out(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "measure", "tilt")
    assert code == 0
    assert "CAUTION" in out
    code, out, _ = run(capsys, "measure", "--readings", READINGS, "--sheet", BUILD)
    assert code == 0
    assert "CAUTION (tilt" in out
    assert "CAUTION (servo" in out
    code, out, _ = run(capsys, "measure", "servo", "--readings", READINGS, "--sheet", BUILD, "--json")
    assert [m["unit"] for m in json.loads(out)] == ["kg·cm"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("weigh", "nowhere.toml"), "no such file"),
        (("weigh", BUILD), "no such key"),
        (("measure", "tillt"), "no such procedure"),
        (("measure", "--readings", READINGS), "both"),
        (("fit", scenario.builds()[1], READINGS), "of another truck"),
        (("log", "show", "nowhere.sqlite"), "no such store"),
        (("reality", "nowhere.sqlite"), "no such store"),
        (("forms", "somewhere", "--paper", "a5"), "no such paper"),
    ],
)
def test_mistakes_are_one_message(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    words: tuple[object, ...], told: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    code, _, err = run(capsys, *words)
    assert code == 2
    assert told in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def test_log_in_and_out(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    store = tmp_path / "day.sqlite"
    log = scenario.DATA / "runs" / "gundi.toml"
    code, out, _ = run(capsys, "log", "add", store, log)
    assert code == 0
    assert "72 tries, 72 new" in out
    _, out, _ = run(capsys, "log", "add", store, log)
    assert "72 tries, 0 new" in out
    code, out, _ = run(capsys, "log", "show", store)
    assert code == 0
    assert "says little" in out or "next to nothing" in out
    _, out, _ = run(capsys, "log", "show", store, "--json")
    cells = json.loads(out)
    assert sum(cell["tries"] for cell in cells) == 72
    # A CSV of the next Sunday may use the names that the store knows by now.
    rows = tmp_path / "next.csv"
    rows.write_text("line,obstacle,surface,configuration,outcome\nslab,ledge:20,slate,as fitted,cleared\n")
    code, out, _ = run(capsys, "log", "add", store, rows)
    assert code == 0, out
    rows.write_text("line,obstacle,surface,configuration,outcome\nslab,ledge:20,slate,as fited,cleared\n")
    code, _, err = run(capsys, "log", "add", store, rows)
    assert code == 2
    assert 'Did you mean "as fitted"' in err


def test_a_new_log_is_never_written_over(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "day.toml"
    assert run(capsys, "log", "new", file)[0] == 0
    code, _, err = run(capsys, "log", "new", file)
    assert code == 2
    assert "already" in err


def test_forms_are_single_pages_of_their_paper(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(capsys, "forms", tmp_path / "blank", "--json")
    assert code == 0
    files = [Path(file) for file in json.loads(out)["files"]]
    assert len(files) == 6
    for file in files:
        data = file.read_bytes()
        assert len(re.findall(rb"/Type /Page\b", data)) == 1
        (box,) = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
        # ISO 216: 210 x 297 mm; ANSI Letter: 8.5 x 11 in; a point is 1/72 in.
        paper = (595.276, 841.890) if "a4" in file.name else (612.0, 792.0)
        assert tuple(map(float, box)) == pytest.approx(paper, abs=0.01)
    code, _, _ = run(capsys, "forms", tmp_path / "full", "--sheet", scenario.builds()[2], "--ounces", "--paper", "a4")
    assert code == 0
    code, _, err = run(capsys, "forms", tmp_path / "blank")
    assert code == 2
    assert "nothing was written" in err


def test_forms_print_black_on_white(tmp_path: Path) -> None:
    from matplotlib.colors import to_rgb

    from sim.chart.forms import Units, run_log, setup_sheet, weighing_form

    for page in (setup_sheet("a4", None, None, None, Units(True)), weighing_form("letter", None, Units(True)),
                 run_log("letter", None, Units(False))):  # fmt: skip
        for artist in (*page.figure.texts, *page.figure.lines):
            red, green, blue = to_rgb(artist.get_color())
            assert red == green == blue
            assert red < 0.4
        # Nothing runs over the right margin.
        renderer = page.figure.canvas.get_renderer() if hasattr(page.figure.canvas, "get_renderer") else None
        for text in page.figure.texts:
            edge = text.get_window_extent(renderer).x1 / page.figure.bbox.width
            assert edge < 1.0 - 5.0 / page.width, text.get_text()


def test_readings_are_asked_for_and_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from models.sheet import load_sheet
    from sim.cli.asking import ask_for_readings

    answers = iter(["1 g", "332, 332, 333 g", "86 g", "86 g", "80 blobs", "80 g", "80 g", "", "", "", "", "", "yes",
                    "rear", "40 mm", "190 g", "up", ""])  # fmt: skip
    file = tmp_path / "mine.toml"
    ask_for_readings(file, load_sheet(BUILD), lambda _: next(answers))
    capsys.readouterr()
    code, out, _ = run(capsys, "weigh", file, "--sheet", BUILD, "--json")
    assert code == 0
    assert json.loads(out)["mass_g"]["value"] == pytest.approx(332.3, abs=1.0)

    # Stopped half way: what was answered is there.
    def stop(_: str) -> str:
        try:
            return next(some)
        except StopIteration:
            raise KeyboardInterrupt from None

    some = iter(["1 g", "332 g"])
    other = tmp_path / "half.toml"
    with pytest.raises(KeyboardInterrupt):
        ask_for_readings(other, load_sheet(BUILD), stop)
    assert 'whole = ["332 g"]' in other.read_text(encoding="utf-8")
