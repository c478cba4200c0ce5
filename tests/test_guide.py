"""Every command block of README and guide: all commands and options exist, and the guide's run as written."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

from sim.cli.main import app, load, main
from sim.cli.table import ENTRIES

ROOT = Path(__file__).parents[1]
PAGES = (ROOT / "README.md", ROOT / "docs" / "guide.md")


def commands(page: Path) -> list[str]:
    """Lines of command blocks that call cragbench, without what is said behind them."""
    found = []
    for block in re.findall(r"^```(?:sh)?\n(.*?)^```", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
        for line in block.splitlines():
            if line.startswith("cragbench "):
                found.append(re.split(r"\s{2,}#|\s#\s", line)[0].strip())
    return found


def words(line: str) -> list[str]:
    """The line as a shell would split it, braces written out."""
    out: list[str] = []
    for word in shlex.split(line)[1:]:
        inner = re.search(r"\{([^{}]*)\}", word)
        out += [word.replace(inner[0], one) for one in inner[1].split(",")] if inner else [word]
    return out


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_and_option_exists(page: Path) -> None:
    entries = {entry.name: entry for entry in ENTRIES}
    found = commands(page)
    assert found
    for line in found:
        name, *rest = words(line)
        command = load(entries[name])
        with typer.main.get_command(app).make_context("cragbench", [name]) as parent:
            context = command.make_context(name, rest, parent=parent)
        assert context is not None, line


def test_commands_named_in_the_text_exist() -> None:
    entries = {entry.name for entry in ENTRIES}
    for page in PAGES:
        for name in re.findall(r"`cragbench ([a-z]+)", page.read_text(encoding="utf-8")):
            assert name in entries, f"{page.name}: {name}"


def test_pictures_are_there() -> None:
    for page in PAGES:
        for name in re.findall(r"!\[[^\]]*\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / name).is_file(), name


def test_the_pictures_are_those_of_the_guide_s_truck() -> None:
    import importlib.util

    spec = importlib.util.spec_from_file_location("guide_pictures", ROOT / "scripts" / "guide_pictures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    start = next(words(line) for line in commands(PAGES[1]) if line.startswith("cragbench start"))
    told = dict(zip(start[2::2], start[3::2], strict=True))
    assert {key.removeprefix("--").replace("-", "_"): value for key, value in told.items()} == {
        key: str(value) for key, value in module.ANSWERS.items()
    }


@pytest.fixture
def stand_ins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trials of a study are stand-ins, in one worker: real ones are driven in the tests of each command."""
    from sim.batch import session
    from sim.cli import batch_cmd

    monkeypatch.setattr(session, "PERFORM", "fake_trial:perform_handbook")
    monkeypatch.setattr(batch_cmd, "available_cores", lambda: 1)


def run(line: str) -> None:
    """Run one command line in this process."""
    with pytest.raises(SystemExit) as end:
        main(words(line))
    assert end.value.code in (0, None), line


@pytest.mark.slow
@pytest.mark.usefixtures("stand_ins")
def test_limits_move_with_what_is_not_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                            capsys: pytest.CaptureFixture[str]) -> None:
    """A stand-in goes over at the handbook's angle: of all unknowns the height of the centre of gravity moves it."""
    import json

    from models.scenario import builds

    monkeypatch.chdir(tmp_path)
    Path("gundi.toml").write_text(builds()[0].read_text(encoding="utf-8"), encoding="utf-8")
    run("cragbench sheet gundi.toml --limits climb --json")
    first, *rest = json.loads(capsys.readouterr().out)["limits"]
    assert first["unknown"] == "height of the centre of gravity"
    assert first["low"] > 0.5 > -0.5 > first["high"]
    assert all(abs(one["low"]) < abs(first["low"]) for one in rest)


@pytest.mark.slow
@pytest.mark.usefixtures("stand_ins")
def test_the_guide_runs_as_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for line in commands(PAGES[1]):
        run(line)


@pytest.mark.slow
def test_the_first_half_hour_runs_as_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sim.cli.demo_cmd import lay_out

    text = PAGES[0].read_text(encoding="utf-8")
    block = re.search(r"### The first half hour\s+```(?:sh)?\n(.*?)```", text, re.DOTALL)
    assert block is not None
    monkeypatch.chdir(tmp_path)
    for line in block[1].splitlines():
        said = re.split(r"\s{2,}#", line)[0].strip()
        if said == "cragbench demo":
            lay_out(Path("cragbench-demo"))  # its files; its minutes of trials have tests of their own
        elif said.startswith("cd "):
            monkeypatch.chdir(Path.cwd() / said.removeprefix("cd "))
        elif said.startswith("cragbench "):
            with pytest.raises(SystemExit) as end:
                main(words(said))
            assert end.value.code in (0, None), said
