"""The scripts that make the environment: what they decide and what they tell a person, without installing anything."""

from __future__ import annotations

import io
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest

import environment
import installer
import interpreter


class FakeTerminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def program(folder: Path, name: str, text: str) -> Path:
    """Write an executable shell script."""
    folder.mkdir(exist_ok=True)
    file = folder / name
    file.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    file.chmod(file.stat().st_mode | stat.S_IXUSR)
    return file


# ------------------------------------------------------------------------------------------- which Python


def test_every_tested_python_on_the_path_is_a_candidate_in_order(tmp_path: Path) -> None:
    first = program(tmp_path / "a", "python3.11", "exit 1")
    second = program(tmp_path / "b", "python3.11", "exit 0")
    program(tmp_path / "b", "python3.12", "exit 0")
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "python3.11").write_text("not executable", encoding="utf-8")
    path = os.pathsep.join(str(tmp_path / name) for name in ("a", "", "missing", "b", "c", "a"))
    assert interpreter.candidates(path) == [str(first), str(second)]


def test_a_stand_in_that_refuses_to_run_is_no_python(tmp_path: Path) -> None:
    assert interpreter.version_of(str(program(tmp_path, "python3.11", "exit 127"))) == ""
    assert interpreter.version_of(str(tmp_path / "nothing")) == ""


def test_this_python_tells_its_version() -> None:
    assert interpreter.version_of(sys.executable) == "{}.{}".format(*sys.version_info[:2])


@pytest.mark.parametrize(
    ("version", "complete", "words"),
    [
        ((3, 6), True, ["Python 3.6", "needs Python 3.11", "Remedy", "apt install python3.11"]),
        ((3, 11), False, ["cannot make virtual environments", "apt install python3.11-venv"]),
        ((3, 13), False, ["apt install python3.13-venv"]),
    ],
)
def test_a_python_that_will_not_do_gets_a_remedy(version: tuple[int, int], complete: bool, words: list[str]) -> None:
    told = interpreter.complaint(version, complete)
    assert all(word in told for word in words), told


@pytest.mark.parametrize("version", [(3, 11), (3, 12), (3, 14)])
def test_the_tested_python_and_newer_ones_may_go_on(version: tuple[int, int]) -> None:
    assert interpreter.complaint(version, complete=True) == ""


@pytest.mark.parametrize("script", ["demo.py", "test.py", "check"])
def test_every_script_explains_itself_before_it_installs(script: str) -> None:
    # --help of the demo belongs to the command itself, so that script is only compiled.
    file = environment.ROOT / "scripts" / script
    if script == "demo.py":
        compile(file.read_text(encoding="utf-8"), str(file), "exec")
        return
    answer = subprocess.run(
        [sys.executable, str(file), "--help"], capture_output=True, text=True, check=False, timeout=60
    )
    assert answer.returncode == 0, answer.stderr
    assert "Needs nothing but Python 3.11" in answer.stdout


# --------------------------------------------------------------------------------- when to install, and what


def test_the_fingerprint_follows_content_and_place(tmp_path: Path) -> None:
    file = tmp_path / "pyproject.toml"
    file.write_text("a", encoding="utf-8")
    before = environment.fingerprint([file], tmp_path)
    assert environment.fingerprint([file], tmp_path) == before
    assert environment.fingerprint([file], tmp_path / "moved") != before
    file.write_text("b", encoding="utf-8")
    assert environment.fingerprint([file], tmp_path) != before


@pytest.mark.parametrize(
    ("held", "wanted", "to_install"),
    [
        ({"fingerprint": "now", "extras": []}, set(), None),
        ({"fingerprint": "now", "extras": ["test"]}, set(), None),
        ({"fingerprint": "now", "extras": ["test"]}, {"test"}, None),
        ({"fingerprint": "now", "extras": []}, {"test"}, {"test"}),
        ({"fingerprint": "old", "extras": ["test"]}, set(), {"test"}),  # what was once installed is kept up to date
        ({"fingerprint": "old", "extras": []}, set(), set()),
        ({}, {"test"}, {"test"}),
        ({}, set(), set()),
        ({"fingerprint": "now", "extras": "test"}, {"test"}, {"test"}),  # a damaged marker installs anew
    ],
)
def test_only_what_is_missing_is_installed(
    held: dict[str, object], wanted: set[str], to_install: set[str] | None
) -> None:
    assert environment.missing(held, frozenset(wanted), "now") == to_install


def test_the_marker_survives_damage(tmp_path: Path) -> None:
    assert environment.read_marker(tmp_path) is None
    environment.write_marker(tmp_path, {"fingerprint": "x", "extras": ["test"]})
    assert environment.read_marker(tmp_path) == {"fingerprint": "x", "extras": ["test"]}
    for damage in ("", "{", "[]", "\x00"):
        (tmp_path / environment.MARKER).write_text(damage, encoding="utf-8")
        assert environment.read_marker(tmp_path) == {}


def test_somebody_elses_folder_is_left_alone(tmp_path: Path) -> None:
    home = tmp_path / ".venv"
    home.mkdir()
    (home / "precious").write_text("mine", encoding="utf-8")
    with pytest.raises(installer.InstallationError, match="was not made by these scripts"):
        environment.make(home)
    assert (home / "precious").read_text(encoding="utf-8") == "mine"


def test_an_environment_that_does_not_run_is_not_healthy(tmp_path: Path) -> None:
    assert not environment.healthy(tmp_path)
    program(environment.tool("python", tmp_path).parent, environment.tool("python", tmp_path).name, "exit 1")
    assert not environment.healthy(tmp_path)


def test_no_room_is_said_before_anything_is_fetched(tmp_path: Path) -> None:
    installer.check_disk(tmp_path, 0.0)
    with pytest.raises(installer.InstallationError, match="MB free"):
        installer.check_disk(tmp_path, 1e12)


def test_every_library_is_installed_by_its_hash() -> None:
    user, test = environment.CONSTRAINTS, environment.TEST_CONSTRAINTS
    lines = [line for file in (user, test) for line in file.read_text(encoding="utf-8").splitlines()]
    pins = [line for line in lines if not line.startswith("#")]
    assert len(pins) > 100
    assert all(re.fullmatch(r"[\w.-]+==\S+ --hash=sha256:[0-9a-f]{64}", line) for line in pins)
    assert len({line.split("==")[0].lower() for line in pins}) == len(pins)
    libraries, project = environment.steps(frozenset(["test"]), hashed=True)
    assert libraries == ["--require-hashes", "-r", str(user), "-r", str(test)]
    assert project == ["--no-deps", "--no-build-isolation", "-e", "."]
    assert environment.steps(frozenset(), hashed=True)[0] == ["--require-hashes", "-r", str(user)]


def test_elsewhere_versions_are_held_without_hashes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(environment, "HOME", tmp_path)
    assert environment.steps(frozenset(["test"]), hashed=False) == [
        ["-c", str(tmp_path / "versions.txt"), "-e", ".[test]"]
    ]
    text = (tmp_path / "versions.txt").read_text(encoding="utf-8")
    assert "numpy==" in text
    assert "--hash" not in text


# ------------------------------------------------------------------------------------- listening to pip


@pytest.mark.parametrize(
    ("words", "told"),
    [
        # Each of these is a line that pip 23 to 26 prints in that case.
        (
            "WARNING: Retrying (Retry(total=1)) after connection broken by 'NewConnectionError(\"Failed to establish a "
            "new connection: [Errno -3] Temporary failure in name resolution\")': /simple/pip/",
            "cannot be reached",
        ),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk is full"),
        ("ERROR: Could not install packages due to an OSError: [Errno 13] Permission denied: '/x'", "without sudo"),
        (
            "  error: command 'gcc' failed: No such file\n  ERROR: Failed building wheel for pybullet",
            "C++",
        ),
        ("SSLError(SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED]", "certificate"),
        ("ERROR: No matching distribution found for pin>=3.4", "No version of a library fits"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "hash differs"),
        ("Segmentation fault", "log has its words"),
    ],
)
def test_a_failure_becomes_a_remedy(words: str, told: str) -> None:
    assert told in installer.remedy(words)


def test_the_cause_wins_over_its_consequence() -> None:
    # Without a network pip also says that it found no version.
    log = "Network is unreachable\nERROR: No matching distribution found for numpy==2.4.6"
    assert "cannot be reached" in installer.remedy(log)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("  Downloading numpy-2.4.6-cp311-cp311-manylinux_2_17_x86_64.whl (16.5 MB)", "numpy 2.4.6 (16.5 MB)"),
        ("Downloading pydantic_core-2.50.5-cp311-cp311-linux.whl (2.0 MB)", "pydantic-core 2.50.5 (2.0 MB)"),
        ("  Using cached pybullet-3.2.7.tar.gz (80.5 MB)", "pybullet 3.2.7 (80.5 MB)"),
        ("Downloading python_dateutil-4.0.0.post1-py3-none-any.whl (230 kB)", "python-dateutil 4.0.0.post1 (230 kB)"),
        ("  Downloading numpy-2.4.6-cp311-cp311-linux.whl.metadata (62 kB)", ""),
        ("Collecting numpy", ""),
        ("Progress 12 of 100", ""),
        ("Installing collected packages: a, b, c", "unpacking 3 libraries"),
        ("  Building wheel for pybullet (setup.py): started", "compiling pybullet (this takes minutes)"),
        ("  Building editable for cragbench (pyproject.toml): started", ""),
        ("  Building wheel for cragbench (pyproject.toml): started", ""),
        ("Successfully installed a-1", ""),
    ],
)
def test_what_pip_has_begun_is_recognised(line: str, words: str) -> None:
    assert installer.begun(line) == words


def test_on_a_terminal_one_line_is_redrawn() -> None:
    out = FakeTerminal()
    ticker = installer.Ticker(out)
    ticker.read("Downloading numpy-2.4.6-cp311-cp311-linux.whl (16.5 MB)\n")
    ticker.draw()
    ticker.close()
    assert "numpy 2.4.6 (16.5 MB)" in out.getvalue()
    assert "\n" not in out.getvalue()
    assert out.getvalue().endswith("\r\033[K")


def test_in_a_log_only_stages_and_large_downloads_are_told() -> None:
    out = io.StringIO()
    ticker = installer.Ticker(out)
    for line in (
        "Downloading numpy-2.4.6-cp311-cp311-linux.whl (16.5 MB)",
        "Downloading six-1.17.0-py3-none-any.whl (11 kB)",
        "Installing collected packages: six, numpy",
    ):
        ticker.read(line)
        ticker.draw()
    ticker.close()
    assert out.getvalue() == "  numpy 2.4.6 (16.5 MB)\n  unpacking 2 libraries\n"


def test_pip_that_fails_leaves_its_words_in_the_log(tmp_path: Path) -> None:
    fake = program(tmp_path / "bin", "python", "echo 'ERROR: [Errno 28] No space left on device'; exit 1")
    log = tmp_path / "install.log"
    with pytest.raises(installer.InstallationError, match="disk is full"):
        installer.pip(fake, ["install", "x"], log, tmp_path)
    assert "Errno 28" in log.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("computer", "ready"),
    [
        # Looked up in the package index for PyBullet 3.2.7.
        (((3, 11), "cpython", "Linux", "x86_64", "glibc"), True),
        (((3, 12), "cpython", "Linux", "x86_64", "glibc"), False),
        (((3, 11), "cpython", "Linux", "aarch64", "glibc"), False),
        (((3, 11), "cpython", "Linux", "x86_64", "musl"), False),
        (((3, 11), "pypy", "Linux", "x86_64", "glibc"), False),
        (((3, 11), "cpython", "Darwin", "arm64", ""), False),
        (((3, 11), "cpython", "Windows", "AMD64", ""), False),
    ],
)
def test_where_pybullet_comes_ready_made(computer: tuple[tuple[int, int], str, str, str, str], ready: bool) -> None:
    assert (computer in installer.READY_MADE) is ready


# ------------------------------------------------------------------------------------------- running things


@pytest.mark.parametrize(("code", "expected"), [("exit 3", 3), ("kill -TERM $$", 143)])
def test_a_command_passes_its_exit_code_on(code: str, expected: int) -> None:
    assert environment.call(["/bin/sh", "-c", code]) == expected


def test_no_failure_of_an_installation_shows_a_traceback(capsys: pytest.CaptureFixture[str]) -> None:
    def failing(error: BaseException) -> int:
        raise error

    assert environment.guarded(lambda: failing(installer.InstallationError("no room"))) == 2
    assert environment.guarded(lambda: failing(PermissionError(13, "Permission denied", "/x"))) == 2
    assert environment.guarded(lambda: failing(OSError(28, "No space left on device"))) == 2
    assert environment.guarded(lambda: failing(KeyboardInterrupt())) == 130
    told = capsys.readouterr().err
    assert "no room" in told
    assert "/x cannot be written" in told
    assert "disk is full" in told
    assert "same command goes on" in told
