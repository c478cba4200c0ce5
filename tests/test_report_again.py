"""What a report says to do is done: its archive in an empty folder, its commands as printed, the same trials again."""

from __future__ import annotations

import base64
import html
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from models.scenario import builds, change
from sim.batch.run_study import run_study
from sim.batch.study import prepare
from sim.report.kit import archive, kit, missing
from sim.report.page import write_report
from sim.store.store import Store, StoredTruck

ROOT = Path(__file__).resolve().parent.parent
PLAN = """# A tiny one.
schema = 1
name = "a tiny study"
repeats = 2
until = "03:00"

[variation]
grip_percent = 3

[[configuration]]
name = "as it is"
build = "garage/gundi.toml"

[[configuration]]
name = "it's \\"further\\" ahead"
build = "garage/gundi.toml"
changes = ["ideas/battery-forward.toml"]

[[obstacle]]
family = "ledge"
levels = [14]
"""
FILES = {"build": {"name": "a.toml", "text": "one"}, "changes": [{"name": "a.toml", "text": "two"}]}


def test_files_of_one_name_are_kept_apart_and_equal_ones_once() -> None:
    other = {"build": {"name": "a.toml", "text": "three"}, "changes": [{"name": "../a.toml", "text": "two"}]}
    trucks = [StoredTruck("1", "first", {"files": FILES}), StoredTruck("2", "second", {"files": other})]
    texts = kit(PLAN, trucks, "made.sqlite")
    assert {name: text for name, text in texts.items() if name != "plan.toml"} == {
        "trucks/a.toml": "one", "changes/a.toml": "two", "trucks/a-2.toml": "three"}
    assert 'build = "trucks/a-2.toml"' in texts["plan.toml"]
    assert "until" not in texts["plan.toml"]
    assert archive(texts) == archive(dict(texts))


def test_a_store_without_files_promises_nothing() -> None:
    assert kit(PLAN, [StoredTruck("1", "first", {})], "made.sqlite") == {}
    assert kit("", [StoredTruck("1", "first", {"files": FILES})], "made.sqlite") == {}
    assert kit("[broken", [StoredTruck("1", "first", {"files": FILES})], "made.sqlite") == {}


def test_scans_and_meshes_are_named() -> None:
    sheet = {"hull": [{"file": "/somewhere/shell.stl"}, {"file": None}]}
    plan = 'schema = 1\n[[obstacle]]\nfamily = "rocks/creek.ply"\nlevels = [1]\n'
    assert missing(plan, [StoredTruck("1", "first", {"sheet": sheet})]) == ["creek.ply", "shell.stl"]


@pytest.mark.slow
def test_the_printed_commands_give_the_same_trials(tmp_path: Path) -> None:
    study, other = tmp_path / "study", tmp_path / "empty"
    (study / "garage").mkdir(parents=True)
    (study / "ideas").mkdir()
    other.mkdir()
    shutil.copy(builds()[0], study / "garage" / "gundi.toml")
    shutil.copy(change("gundi", "battery-forward"), study / "ideas" / "battery-forward.toml")
    (study / "plan.toml").write_text(PLAN.replace('until = "03:00"\n', ""), encoding="utf-8")
    prepared = prepare(study / "plan.toml")
    run_study(prepared, prepared.store, workers=1)
    page = write_report(study / "plan.sqlite", study / "page.html")[0].read_text(encoding="utf-8")
    packed = re.search(r'<a id="kit" download="([^"]+)" href="data:application/zip;base64,([^"]+)"', page)
    printed = re.search(r'<pre tabindex="0" id="commands"><code>(.*?)</code>', page, re.DOTALL)
    assert packed is not None
    assert printed is not None
    (other / packed[1]).write_bytes(base64.b64decode(packed[2]))
    assert (study / "page-data" / packed[1]).read_bytes() == (other / packed[1]).read_bytes()
    folder = other
    for line in html.unescape(printed[1]).strip().splitlines():
        words = shlex.split(line)
        if words[0] == "cd":
            folder = folder / words[1]
            continue
        words[:1] = [sys.executable, *(["-m", "sim.cli.main"] if words[0] == "cragbench" else [])]
        done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False,
                              env={**os.environ, "PYTHONPATH": str(ROOT)})
        assert done.returncode == 0, f"{line}\n{done.stdout}\n{done.stderr}"
    with Store(study / "plan.sqlite") as first, Store(folder / "plan.sqlite") as again:
        assert first.done() == again.done()
        assert len(first.done()) == 4
