"""The repetition scheme from the command line: what a store shows, and the rule alone."""

from __future__ import annotations

import json
from pathlib import Path

import fake_trial
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.cli.main import main
from sim.store.store import Store, StoredTruck
from sim.trial.task import Report, record


def call(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as stopped:
        main(list(arguments))
    said = capsys.readouterr()
    return int(stopped.value.code or 0), said.out, said.err


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty repetitions each: a truck that never fails here, and one that nearly always does."""
    path = tmp_path_factory.mktemp("shown") / "s.sqlite"
    study = FakeStudy({"sure": FakeTruck(60.0), "lost": FakeTruck(20.0)})
    with Store(path, write=True) as made:
        made.add_configurations([StoredTruck(c, f"{c} [x]", {}) for c in study.trucks])
        tasks = [fake_trial.task(config, 34.0, repeat) for repeat in range(30) for config in study.trucks]
        made.add([Report(task, record(fake_trial.perform(study, task)), None, 0.1) for task in tasks], VERSIONS)
    return path


def test_what_is_shown(capsys: pytest.CaptureFixture[str], store: Path) -> None:
    """30 of 30 at 80 %: confidence 1 - 0.8**30 = 0.9988, lower bound 0.2**(1/30) = 0.9478; 3 failures allowed."""
    code, out, _ = call(capsys, "demonstrate", str(store), "--json")
    assert code == 0
    cells = {cell["configuration"]: cell for cell in json.loads(out)["cells"]}
    sure, lost = cells["sure [x]"], cells["lost [x]"]
    assert (sure["repetitions"], sure["failures"], sure["allowed"], sure["shown"]) == (30, 0, 3, True)
    assert sure["reached"] == pytest.approx(1.0 - 0.8**30, rel=1e-12)
    assert sure["lower_bound"] == pytest.approx(0.2 ** (1 / 30), rel=1e-12)
    assert (lost["allowed"], lost["shown"]) == (3, False)
    assert lost["failures"] > 20


def test_for_people(capsys: pytest.CaptureFixture[str], store: Path) -> None:
    code, out, err = call(capsys, "demonstrate", str(store), "--reliability", "90", "--confidence", "95")
    assert (code, err) == (0, "")
    # 0.9**30 = 0.042: thirty without a failure just do, and ask for no fewer than 29.
    assert "sure [x]" in out
    assert out.count("not shown") == 1
    assert "90 % or more at 95 % confidence" in out


def test_the_rule_alone(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "demonstrate", "--json", "--confidence", "90")
    assert code == 0
    assert json.loads(out)["allowed_failures"] == {"10": None, "20": 1, "30": 2, "40": 4, "50": 5, "100": 14}
    code, out, _ = call(capsys, "demonstrate", "--confidence", "90")
    assert "cannot be shown" in out
    assert "11 repetitions" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--confidence", "150"], "between 0 and 100 percent"),
        (["--reliability", "0"], "between 0 and 100 percent"),
        (["--reliability", "nan"], "between 0 and 100 percent"),
        (["nothing.sqlite"], "no such store"),
    ],
)
def test_mistakes(capsys: pytest.CaptureFixture[str], arguments: list[str], words: str) -> None:
    code, out, err = call(capsys, "demonstrate", *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) <= 2
