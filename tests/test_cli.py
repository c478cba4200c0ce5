"""The command line as its user meets it: output, JSON, mistakes, interrupts."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import fake_trial
import pytest

from models import scenario
from sim.batch import run_study, session
from sim.batch.batch import Progress
from sim.cli.main import main
from sim.cli.table import ENTRIES
from sim.store.store import Store
from sim.trial.task import Report, record

BUILD = str(scenario.builds()[0])
FORWARD = str(scenario.change(BUILD, "battery-forward"))
PLAN = f"""
schema = 1
name = "small"
repeats = 6
[[configuration]]
name = "battery [back]"
build = "{BUILD}"
[[configuration]]
name = "battery <forward>"
build = "{BUILD}"
changes = ["{FORWARD}"]
[[obstacle]]
family = "ledge"
levels = [30]
"""


def call(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of a command."""
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plan whose trials are stand-ins."""
    monkeypatch.setattr(session, "PERFORM", "fake_trial:perform_truck")
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    return path


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "--help")
    assert code == 0
    for entry in ENTRIES:
        assert f" {entry.name} " in out


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.name)
def test_every_command_has_help(capsys: pytest.CaptureFixture[str], entry: Any) -> None:
    code, out, _ = call(capsys, entry.name, "--help")
    assert code == 0
    assert "Usage: cragbench" in out


@pytest.mark.parametrize(("group", "holds"), [
    ("plan", ("TOML file: trucks, obstacles with levels", "check")),
    ("store", ("SQLite file with every trial", "show", "csv")),
    ("log", ("file of real tries: line, truck, outcome, date", "new", "add", "show")),
])
def test_groups_say_what_they_hold(capsys: pytest.CaptureFixture[str], group: str, holds: tuple[str, ...]) -> None:
    code, out, _ = call(capsys, group, "--help")
    said = " ".join(out.replace("│", " ").split())
    assert code == 0
    assert [words for words in holds if words not in said] == []


def test_sheet_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "sheet", BUILD, "--change", FORWARD, "--json")
    data = json.loads(out)
    assert code == 0
    promised = "mass_g front_percent left_percent cg_mm wheel_loads_g tip_deg approach_deg departure_deg breakover_deg"
    assert set(promised.split()) | {"clearance_mm", "price", "assumed"} <= set(data)
    assert set(data["tip_deg"]) == {"left", "right", "back", "front"}
    assert sum(data["wheel_loads_g"]) == pytest.approx(data["mass_g"], rel=1e-9)


def test_sheet_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = call(capsys, "sheet", BUILD, "--sources")
    assert (code, err) == (0, "")
    assert "front bias (front / rear)" in out
    assert "Assumed" in out


def test_light_commands_start_light() -> None:
    """Listing commands and showing a sheet load neither engine, compiler nor charts."""
    script = (
        "import sys\nfrom sim.cli.main import main\n"
        "try: main(sys.argv[1:])\nexcept SystemExit: pass\n"
        "heavy = {'pybullet', 'numba', 'matplotlib', 'pandas', 'statsmodels'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy))\n"
    )
    for arguments in (["--help"], ["sheet", BUILD]):
        run = subprocess.run(
            [sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True, cwd=Path.cwd()
        )
        assert "HEAVY []" in run.stdout


def test_batch_says_what_another_version_left_and_what_memory_it_may_take(
    capsys: pytest.CaptureFixture[str], plan: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_study, "run_study", lambda *_, **__: Progress())
    study = fake_trial.FakeStudy({"a": fake_trial.FakeTruck(30.0)})
    old = fake_trial.task("a")
    with Store(plan.with_suffix(".sqlite"), write=True) as store:
        store.add([Report(old, record(fake_trial.perform(study, old)), None, 0.1)], fake_trial.VERSIONS)
    code, out, err = call(capsys, "batch", str(plan), "--workers", "3", "--memory-mb", "500")
    assert code == 0
    assert "at most 2056 MB of memory in all" in out.replace("\n", " ")
    assert "1 trial(s) in this store are of another version" in (out + err).replace("\n", " ")
    code, out, _ = call(capsys, "batch", str(plan), "--json")
    assert json.loads(out)["of_other_versions"] == 1
    code, out, _ = call(capsys, "plan", "check", str(plan), "--probe", "0", "--workers", "2")
    assert "of memory at most 2604 MB" in out.replace("\n", " ")


def test_batch_then_compare(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    code, out, _ = call(capsys, "batch", str(plan), "--workers", "2", "--json")
    first = json.loads(out)
    assert (code, first["done"], first["left"], first["ending"]) == (0, 12, 0, "finished")
    code, out, _ = call(capsys, "batch", str(plan))
    assert code == 0
    assert "0 trials run" in out
    assert "12 were there already" in out

    store = str(plan.with_suffix(".sqlite"))
    code, out, _ = call(capsys, "compare", store, "--baseline", "battery [back]", "--no-charts", "--tilt", "0")
    assert code == 0
    assert "battery [back]" in out
    assert "battery <forward>" in out
    options = ["--baseline", "battery [back]", "--json", "--out", str(plan.parent / "o"), "--tilt", "4"]
    code, out, _ = call(capsys, "compare", store, *options)
    data = json.loads(out)
    assert {cell["configuration"] for cell in data["cells"]} == {"battery [back]", "battery <forward>"}
    assert all(Path(file).stat().st_size > 0 for file in data["files"])
    assert {Path(file).suffix for file in data["files"]} == {".csv", ".png", ".svg"}
    assert any(Path(file).name == "plan-tip.png" for file in data["files"])
    assert [row["configuration"] for row in data["tip"]] == ["battery [back]", "battery <forward>"]
    for row in data["tip"]:  # soft springs and tyres: it tips before the handbook's angle
        assert row["simulated"]["direction_deg"] == [0.0, 90.0, 180.0, 270.0]
        assert 30.0 < row["simulated"]["tip_deg"][0] < row["static_deg"]["front"]
        assert row["stability_distance_mm"] > row["stability_rise_mm"] > 0.0
        assert row["simulated"]["shafts"] == "braked"
    with open(data["files"][0], newline="") as file:
        assert [row["n"] for row in csv.DictReader(file)] == ["6", "6"]


def test_store_copies(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    pytest.importorskip("pyarrow")
    call(capsys, "batch", str(plan), "--json")
    store = str(plan.with_suffix(".sqlite"))
    for kind in ("csv", "parquet"):
        code, out, _ = call(capsys, "store", kind, store, "--out", str(plan.parent / f"t.{kind}"))
        assert code == 0
        assert "wrote 12 trials" in out
    code, out, _ = call(capsys, "store", "show", store, "--json")
    assert json.loads(out)["trials"] == 12


def test_plan_check(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    code, out, _ = call(capsys, "plan", "check", str(plan), "--probe", "0", "--json")
    assert code == 0
    assert json.loads(out)["trials"] == 12


def test_drive_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "drive", BUILD, "ledge:10", "--seed", "3", "--json", "--trace")
    data = json.loads(out)
    assert code == 0
    promised = "outcome reason min_margin_deg time_s distance_mm peak_current_a slip margin_trace"
    assert set(promised.split()) <= set(data)
    assert data["outcome"] == "cleared"
    assert min(data["margin_trace"]["margin_deg"]) >= data["min_margin_deg"] - 1e-6


def test_export(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, _, _ = call(capsys, "export", BUILD, "--urdf", str(tmp_path / "u"))
    assert code == 0
    assert list((tmp_path / "u").glob("*.urdf"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["sheet", "nothing.toml"], "nothing.toml"),
        (["sheet", BUILD, "--change", "nothing.toml"], "nothing.toml"),
        (["drive", BUILD, "legde:30"], "ledge"),
        (["drive", BUILD, "ledge"], "ledge:VALUE"),
        (["drive", BUILD, "ledge:nan"], "not a number"),
        (["drive", BUILD, "ledge:30", "--driver", "nobody"], "steady"),
        (["drive", BUILD, "ledge:30", "--seed", "-1"], "--seed"),
        (["batch", "nothing.toml"], "nothing.toml"),
        (["batch", BUILD], "plan"),
        (["compare", "nothing.sqlite"], "no such store"),
        (["compare", BUILD], "not a store"),
        (["export", BUILD], "--urdf"),
        (["export", BUILD, "--urdf", BUILD], "gundi"),
        (["nonsense"], "nonsense"),
    ],
)
def test_mistakes_are_one_message(capsys: pytest.CaptureFixture[str], arguments: list[str], words: str) -> None:
    code, out, err = call(capsys, *arguments)
    assert code == 2
    assert words in err or words == "plan"
    assert "Traceback" not in err
    assert out == ""


def test_wrong_baseline_and_format(capsys: pytest.CaptureFixture[str], plan: Path) -> None:
    call(capsys, "batch", str(plan), "--json")
    store = str(plan.with_suffix(".sqlite"))
    code, _, err = call(capsys, "compare", store, "--baseline", "nobody")
    assert code == 2
    assert "battery [back]" in err
    code, _, err = call(capsys, "compare", store, "--tilt", "6")
    assert (code, "multiple of 4" in err) == (2, True)
    code, _, err = call(capsys, "compare", store, "--formats", "bmp")
    assert code == 2
    assert "png, svg, pdf" in err


def test_control_characters_do_not_reach_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = call(capsys, "sheet", "\x1b[2Jno.toml")
    assert code == 2
    assert "\x1b" not in err


def test_interrupt_keeps_what_is_done(tmp_path: Path) -> None:
    """Ctrl-C to the whole process group, as a terminal sends it: exit 130, the way to go on, all rows whole."""
    (tmp_path / "plan.toml").write_text(PLAN.replace("repeats = 6", "repeats = 2000"))
    script = (
        "import sys\nfrom sim.batch import session\nfrom sim.cli.main import main\n"
        "if __name__ == '__main__':\n    session.PERFORM = 'fake_trial:perform_slowly'\n    main()\n"
    )
    (tmp_path / "go.py").write_text(script)
    store = tmp_path / "plan.sqlite"
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "go.py"), "batch", str(tmp_path / "plan.toml"), "--workers", "2"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,
    ) as process:
        assert process.stderr is not None
        while "trials, " not in process.stderr.readline():  # the first progress line: trials are coming in
            pass
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Go on with" in out
    assert f"cragbench batch {tmp_path / 'plan.toml'} --workers 2" in out
    assert "Traceback" not in out + err
    from sim.store.store import Store

    with Store(store) as opened:
        assert 0 < opened.count() < 4000
