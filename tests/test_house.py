"""Rules of the house that hold for every file: who imports whom, what is declared, how long a file is, what it says."""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import subjects

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("models", "terrain", "sim")
FOLDERS = (*PACKAGES, "scripts", "tests")
LONGEST = 400
"""Lines; about 300 is the aim."""

HALVES = {"dask", "pydantic-core"}
"""Distributions that a declared one brings along as its other half."""

# Paths and addresses that belong to one machine or one place and to no project.
ONE_PLACE = re.compile(
    r"/home/|/root/|/work/|/tmp/|/Users/|[A-Z]:\\|https?://(?:localhost|127\.0\.0\.1|10\.|192\.168\.)"
)


def sources(*folders: str) -> list[Path]:
    """Return the Python files of these folders, in order."""
    return sorted(file for folder in folders for file in (ROOT / folder).rglob("*.py"))


def label(file: Path) -> str:
    """Return a file's path inside the project."""
    return file.relative_to(ROOT).as_posix()


def imported(file: Path) -> Iterator[str]:
    """Yield the top-level name of every absolute import in a file, wherever it stands."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module.split(".")[0]


def declared(*extras: str) -> set[str]:
    """Return the distributions that pyproject.toml names, in normal form."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"], *(line for extra in extras for line in project["optional-dependencies"][extra])]
    return {re.split(r"[\[<>=!~; ]", line)[0].lower().replace("_", "-") for line in lines}


def undeclared(files: list[Path], allowed: set[str], own: set[str]) -> dict[str, set[str]]:
    """Return what is imported in each file without being part of Python, the project, or ``allowed`` distributions."""
    owners = packages_distributions()
    found: dict[str, set[str]] = {}
    for file in files:
        for name in set(imported(file)) - set(sys.stdlib_module_names) - own:
            distributions = {owner.lower().replace("_", "-") for owner in owners.get(name, [name])}
            if not distributions & allowed:
                found.setdefault(label(file), set()).add(name)
    return found


def test_imports_point_one_way() -> None:
    lint = Path(sys.executable).with_name("lint-imports")
    if not lint.exists():
        pytest.skip("import-linter is not installed beside this Python")
    answer = subprocess.run([str(lint), "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert answer.returncode == 0, answer.stdout


def test_what_the_packages_import_is_declared() -> None:
    # An undeclared library works here, where the tests brought it along, and fails on the user's machine.
    allowed = declared("cluster") | HALVES
    assert undeclared(sources(*PACKAGES), allowed, set(PACKAGES)) == {}


def test_what_tests_and_scripts_import_is_declared() -> None:
    own = {*PACKAGES, "tests", *(file.stem for file in sources("scripts", "tests"))}
    assert undeclared(sources("scripts", "tests"), declared("cluster", "test") | HALVES, own) == {}


@pytest.mark.parametrize("name", ["demo.py", "test.py", "check", "environment.py", "installer.py", "interpreter.py"])
def test_what_runs_before_the_installation_needs_only_the_standard_library(name: str) -> None:
    beside = {"environment", "installer", "interpreter"}
    assert set(imported(ROOT / "scripts" / name)) <= set(sys.stdlib_module_names) | beside


def test_every_pinned_version_fits_what_is_asked_for() -> None:
    files = [ROOT / "scripts" / f"constraints{end}.txt" for end in ("", "_test")]
    pins = [line for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in pins if line and not line.startswith("#")}
    assert declared("cluster", "test") - {"cragbench"} <= pinned


def test_files_are_short() -> None:
    lengths = {label(file): len(file.read_text(encoding="utf-8").splitlines()) for file in sources(*FOLDERS)}
    assert {name: length for name, length in lengths.items() if length > LONGEST} == {}


def test_files_are_named_for_what_is_in_them() -> None:
    grab_bags = {"util", "utils", "helper", "helpers", "common", "misc", "tools", "stuff"}
    assert [label(file) for file in sources(*FOLDERS) if file.stem in grab_bags] == []


def test_nothing_points_at_one_machine() -> None:
    files = [
        *sources(*PACKAGES, "scripts"),
        *ROOT.glob("*.md"),
        *(file for folder in PACKAGES for file in (ROOT / folder).rglob("*.toml")),
    ]
    found = {label(file): ONE_PLACE.findall(file.read_text(encoding="utf-8")) for file in files}
    assert {name: places for name, places in found.items() if places} == {}


@pytest.mark.parametrize(
    ("module", "error"),
    [
        ("models.errors", "BuildSheetError"),
        ("terrain.errors", "TerrainError"),
        ("sim.errors", "SimError"),
    ],
)
def test_every_package_has_one_root_error(module: str, error: str) -> None:
    # The command line catches these in one place; what is not under them would show as a traceback.
    loaded = importlib.import_module(module)
    root = getattr(loaded, error)
    assert issubclass(root, Exception)
    for name, thing in vars(loaded).items():
        if isinstance(thing, type) and issubclass(thing, Exception) and thing.__module__ == module:
            assert issubclass(thing, root) or issubclass(root, thing), name


def test_the_core_starts_without_what_only_the_edge_needs() -> None:
    # The build sheet and the statics answer at once only while they load neither the engine nor the chart library.
    code = (
        "import sys, models.sheet\n"
        "print(*sorted({'pybullet', 'matplotlib', 'typer', 'statsmodels'} & set(sys.modules)))"
    )
    answer = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (answer.returncode, answer.stdout.strip()) == (0, ""), answer.stderr


def test_one_thing_has_one_name() -> None:
    """Two classes of one name in two rooms are told apart by nobody."""
    homes: dict[str, list[str]] = {}
    for file in sources(*PACKAGES):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(label(file))
    assert {name: files for name, files in homes.items() if len(files) > 1} == {}


def test_a_long_subject_is_found() -> None:
    assert subjects.longer(f"{72 * 'a'}\n{73 * 'b'}\n") == [73 * "b"]


def test_subjects_are_read_where_there_is_history_and_left_alone_where_there_is_none(tmp_path: Path) -> None:
    def git(*words: str) -> str:
        command = ["git", "-c", "user.name=a", "-c", "user.email=a@b.c", *words]
        return subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True).stdout.strip()

    assert subjects.after("HEAD", tmp_path) is None
    git("init", "-q")
    git("commit", "-q", "--allow-empty", "-m", "first")
    rule = git("rev-parse", "HEAD")
    git("commit", "-q", "--allow-empty", "-m", "second\n\nwhy")
    assert subjects.after(rule, tmp_path) == "second\n"
    assert subjects.after(40 * "0", tmp_path) is None
