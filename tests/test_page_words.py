"""The page says of a change what the terminal says, word for word."""

from __future__ import annotations

import shutil
from html import unescape
from pathlib import Path

import pytest
from page_server import served

from models import scenario
from sim.cli.main import main
from sim.page import asker
from sim.page.findings import words
from sim.page.run_state import RunState, read

ENDS = ("worth it", "not worth it", "practically equal", "hangs on", "not decided")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A truck and two changes; trials are stand-ins in one worker."""
    from sim.batch import session
    from sim.cli import batch_cmd

    monkeypatch.setattr(session, "PERFORM", "fake_trial:perform_handbook")
    monkeypatch.setattr(batch_cmd, "available_cores", lambda: 1)
    monkeypatch.setattr(asker, "_cores", lambda: 1)
    build = scenario.builds()[0]
    shutil.copy(build, tmp_path / "gundi.toml")
    for name in ("battery-forward", "front-wheel-rings"):
        shutil.copy(scenario.change("gundi", name), tmp_path / f"{name}.toml")
    (tmp_path / ".cragbench-page").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def asked(folder: Path, **more: object) -> RunState:
    """Answer a question as the page does, in this process."""
    job = {"plan": "questions/q.toml", "build": "gundi.toml", "families": ["climb", "descent"], "name": "q",
           "repeats": 12, "changes": [
               {"name": "battery forward", "file": "battery-forward.toml"},
               {"name": "weighted front wheel rings", "file": "front-wheel-rings.toml"}], **more}
    file = folder / ".cragbench-page" / "run-q.json"
    asker.answer(asker.Teller(file, RunState("q", "plan", job)), folder)
    return read(file)


@pytest.mark.slow
def test_page_and_terminal_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = asked(folder)
    assert run.stage == "done"
    told = words(run)
    assert [one["name"] for one in told] == ["battery forward", "weighted front wheel rings"]
    assert all(one["word"].startswith(ENDS) for one in told)
    capsys.readouterr()
    with pytest.raises(SystemExit):
        main(["verdict", "gundi.toml", "battery-forward.toml", "front-wheel-rings.toml", "--line", "climb", "--line",
              "descent", "--repeats", "12"])
    terminal = capsys.readouterr().out
    texts = [text for one in told for text in one["texts"]]
    assert len(texts) >= 6  # the word, the intervals and the regret of each
    assert [text for text in texts if text not in terminal] == []
    assert "Expected regret of doing it" in texts[-1]
    assert run.result["assumed"] in terminal
    with served(folder) as page:
        for screen in ("/question/run?run=q", "/answer?store=questions/q.sqlite"):
            shown = unescape(page.ask(screen)[2])
            assert [text for text in texts if text not in shown] == []


@pytest.mark.slow
def test_going_on_drives_nothing_twice_and_says_the_same(folder: Path) -> None:
    first = asked(folder, together=True)
    assert [one["name"] for one in words(first)][-1] == "all together"
    again = asked(folder, together=True)
    assert (again.done, again.known) == (0, first.done)
    assert words(again) == words(first)
