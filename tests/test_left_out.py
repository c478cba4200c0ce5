"""What a store holds and a result does not: told by every command that shows results, and driven again on request."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import made_store
import pytest
from test_cli import call, plan

from sim.compare.export import for_spreadsheet
from sim.store.store import Store
from sim.trial.task import Versions

__all__ = ["plan"]
CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e]|\r(?!\n)")


def changed(path: Path, statement: str) -> None:
    """Write into a store past everything that guards it."""
    connection = sqlite3.connect(path)
    connection.execute(statement)
    connection.commit()
    connection.close()


def told(capsys: pytest.CaptureFixture[str], path: Path) -> dict[str, str]:
    """What ``compare`` and the page of ``report`` say, in one line each."""
    _, out, err = call(capsys, "compare", str(path), "--no-charts", "--tilt", "0", "--out", str(path.parent / "c"))
    page = path.with_suffix(".html")
    code, _, said = call(capsys, "report", str(path), "--out", str(page))
    assert code == 0, said
    words = re.sub(r"<[^>]*>", " ", page.read_text(encoding="utf-8"))
    return {"compare": " ".join((out + err).split()), "report": " ".join(words.split())}


def test_trials_of_another_version_are_told_and_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = made_store.make(tmp_path / "o.sqlite", repeats=3, traces=0, places=(("ledge", 20.0),))
    path = tmp_path / "s.sqlite"
    with Store(other) as theirs, Store(path, write=True) as store:
        store.add([made_store.Report(t.task, t.record, None, 0.1) for t in theirs.trials()], Versions("older", "other"))
    made_store.make(path, repeats=4, traces=0, places=(("ledge", 20.0),))  # the newest rows say what is shown
    with Store(path) as store:
        assert store.count() == 6 + 8
    for where, words in told(capsys, path).items():
        assert "6 trials of other versions of the physics or the trucks left out" in words, where
        assert "were computed by another version (made, up; this one is" in words, where


def test_a_damaged_trial_is_named_left_out_and_driven_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], plan: Path
) -> None:
    store, new = plan.with_suffix(".sqlite"), tmp_path / "new.sqlite"
    call(capsys, "batch", str(plan), "--workers", "1", "--json")
    with Store(store) as whole:
        rows = sorted(whole.table())
    changed(store, "UPDATE trial SET distance_mm = distance_mm + 1 WHERE key = (SELECT min(key) FROM trial)")
    with Store(store) as broken:
        (found,) = broken.damaged.values()
    for where, words in told(capsys, store).items():
        assert f"1 trial left out as damaged ({found.trial}: is not what was written)" in words, where
    code, out, err = call(capsys, "batch", str(plan), "--workers", "1")
    assert code != 0
    assert f"store check {store}" in (out + err).replace("\n", " ")
    code, out, _ = call(capsys, "store", "check", str(store), "--rescue", str(new))
    assert code == 1
    assert found.trial in out
    code, out, _ = call(capsys, "batch", str(plan), "--workers", "1", "--store", str(new))
    assert code == 0
    assert "1 trials run" in out or "1 trial run" in out
    with Store(new) as mended:
        assert sorted(mended.table()) == rows


def test_trials_of_a_truck_that_is_not_described_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = made_store.make(tmp_path / "s.sqlite", repeats=4, traces=0, places=(("ledge", 20.0),))
    changed(path, "DELETE FROM configuration WHERE hash LIKE '%1'")
    for where, words in told(capsys, path).items():
        assert "the store does not describe 0000000000000001: these trials may be from somebody else" in words, where


def test_no_control_character_of_a_name_reaches_a_page_a_table_or_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = "fore\x1b[31m\x07\x9b2Jaft\x00\u202e"
    path = made_store.make(tmp_path / "s.sqlite", ("as it is", bad), repeats=4, traces=1, places=(("ledge", 20.0),))
    code, out, err = call(capsys, "compare", str(path), "--tilt", "0", "--out", str(tmp_path / "c"))
    assert code == 0
    code, shown, told_too = call(capsys, "store", "show", str(path))
    assert code == 0
    said = out + err + shown + told_too
    assert not CONTROLS.search(said)
    code, _, _ = call(capsys, "report", str(path), "--out", str(tmp_path / "r.html"))
    assert code == 0
    files = [one for one in tmp_path.rglob("*") if one.suffix in (".html", ".csv", ".svg", ".json", ".toml")]
    assert {one.suffix for one in files} >= {".html", ".csv", ".svg"}
    for one in files:
        found = CONTROLS.search(one.read_bytes().decode("utf-8"))
        assert found is None, (one.name, found)
    assert for_spreadsheet(bad) == r"fore\x1b[31m\x07\x9b2Jaft\x00\u202e"
