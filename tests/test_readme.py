"""README's command blocks, each run as written: trials are stand-ins, the scheduler and its worker are real."""

from __future__ import annotations

import os
import re
import runpy
import shlex
import shutil
import socket
import subprocess
import sys
import time
import tomllib
from contextlib import ExitStack
from pathlib import Path

import pytest
from test_guide import PAGES, ROOT, run

from sim.cli.demo_cmd import lay_out
from sim.cli.main import main

FIRST = {"python3 scripts/demo.py": "demo", "python3 scripts/test.py": "tests", "cragbench demo": "first half hour",
         "schema = 1": "plan", "cragbench shift": "shift", "dask scheduler": "cluster"}
"""How every block begins, and what it is for."""


def blocks() -> dict[str, str]:
    """Text of each block by what it is for.

    :raises KeyError: A block that no test here knows of.
    """
    found = {}
    for text in re.findall(r"^```\w*\n(.*?)^```", PAGES[0].read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
        name = next((name for start, name in FIRST.items() if text.startswith(start)), None)
        if name is None:
            raise KeyError(f"no test runs the block that begins with {text.splitlines()[0]!r}")
        found[name] = text
    return found


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo's folder; trials are stand-ins in one worker, wherever it runs."""
    from sim.batch import session
    from sim.cli import batch_cmd

    monkeypatch.setattr(session, "PERFORM", "fake_trial:perform_handbook")
    monkeypatch.setattr(batch_cmd, "available_cores", lambda: 1)
    lay_out(tmp_path / "cragbench-demo")
    monkeypatch.chdir(tmp_path / "cragbench-demo")
    return tmp_path / "cragbench-demo"


def test_every_block_has_a_test() -> None:
    assert sorted(blocks()) == sorted(FIRST.values())  # the first half hour's is in test_guide


def test_the_tests_are_run_by_the_block_that_says_so() -> None:
    line = blocks()["tests"].strip()
    judged = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert f"\n{line} --all\n" in judged


@pytest.mark.slow
@pytest.mark.usefixtures("demo")
def test_the_first_block_installs_and_shows_the_demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                     capsys: pytest.CaptureFixture[str]) -> None:
    import environment

    installed: list[str] = []

    def call(command: list[str]) -> int:
        assert installed == ["what is missing"]
        assert Path(command[0]).name == "cragbench"
        with pytest.raises(SystemExit) as end:
            main(command[1:])
        return int(end.value.code or 0)

    _, script = shlex.split(blocks()["demo"])
    monkeypatch.setattr(environment, "ensure", lambda: installed.append("what is missing"))
    monkeypatch.setattr(environment, "call", call)
    monkeypatch.chdir(tmp_path)
    shutil.rmtree(tmp_path / "cragbench-demo")
    monkeypatch.setattr(sys, "argv", [script])
    with pytest.raises(SystemExit) as end:
        runpy.run_path(str(ROOT / script), run_name="__main__")
    assert end.value.code == 0
    said = capsys.readouterr().out
    assert "600 trials" in said
    # The shift of a limit first, then the average over levels, then that these were chosen.
    places = [said.rindex(words) for words in ("clears half at", "Averaged over the levels: ", "Levels chosen around")]
    assert places == sorted(places)


@pytest.mark.slow
def test_the_plan_runs_as_written(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = blocks()["plan"]
    plan = tomllib.loads(text)
    (demo / "plan.toml").write_text(text, encoding="utf-8")
    run("cragbench plan check plan.toml")
    run("cragbench batch plan.toml")
    capsys.readouterr()
    trials = plan["repeats"] * sum(len(one["levels"]) for one in plan["obstacle"]) * len(plan["configuration"])
    run("cragbench batch plan.toml")  # all of it is known by now
    assert f"0 trials run in 0 s (0.0 a second), {trials} were there already" in capsys.readouterr().out


@pytest.mark.slow
@pytest.mark.usefixtures("demo")
def test_the_decision_runs_as_written(capsys: pytest.CaptureFixture[str]) -> None:
    line, *told = blocks()["shift"].splitlines()
    run(line)
    said = capsys.readouterr().out
    # The words are those of real trials; stand-ins say others, in the same form.
    for words in ("battery at x = 115 mm (now 17) brings", "over the mix (luck", "uphill left", "uphill right"):
        assert words in " ".join(" ".join(told).split())
        assert words in " ".join(said.split())


@pytest.mark.slow
def test_the_cluster_runs_as_written(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("distributed")
    for port in (8786, 8787):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                pytest.skip(f"port {port}, which the block names, is taken on this machine")
    (demo / "plan.toml").write_text(blocks()["plan"], encoding="utf-8")
    here = Path(sys.executable).parent
    around = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PATH": f"{here}{os.pathsep}{os.environ['PATH']}"}
    *served, last = (re.split(r"\s+#", line)[0] for line in blocks()["cluster"].splitlines())
    with ExitStack() as stack:
        for line in served:
            program = stack.enter_context(subprocess.Popen(shlex.split(line), stdout=subprocess.DEVNULL,
                                                           stderr=subprocess.DEVNULL, env=around))
            stack.callback(program.terminate)
            _wait_for(8786)
        run(last)
    assert "trials" in capsys.readouterr().out


def _wait_for(port: int) -> None:
    end = time.monotonic() + 60.0
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise AssertionError(f"nothing listens at {port}")
