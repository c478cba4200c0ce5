"""The frame of the checks: judging, missing extras, the page, the command's exit codes."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

from sim.errors import SimError
from sim.validation import report
from sim.validation.catalogue import checks
from sim.validation.check import (
    Check,
    Group,
    Measured,
    Result,
    Tolerance,
    absolute,
    at_least,
    at_most,
    between,
    estimate,
    one,
    relative,
    shown,
)

ROOT = Path(__file__).resolve().parent.parent


def made(measured: Measured, tolerance: Tolerance, needs: tuple[str, ...] = ()) -> Check:
    group = Group("statics", "Invented")
    frame = group.check(
        "invented", "a claim", source="nowhere", known="from memory", unit="m", tolerance=tolerance, needs=needs
    )
    return frame(lambda: measured)


@pytest.mark.parametrize(
    ("measured", "tolerance", "state", "error"),
    [
        (one(10.0, 10.1), absolute(0.2, ""), "pass", 0.1),
        (one(10.0, 10.3), absolute(0.2, ""), "fail", 0.3),
        (one(10.0, 10.1), relative(0.02, ""), "pass", 0.01),
        (Measured((1.0, 2.0), (1.0, 2.5)), relative(0.1, ""), "fail", 0.25),
        (one(5.0, 4.0), at_most(0.0, ""), "pass", -1.0),
        (one(5.0, 5.1), at_most(0.2, ""), "pass", 0.1),
        (one(5.0, 4.0), at_least(0.0, ""), "fail", 1.0),
        (Measured((1.0, 3.0), (2.0, 2.9)), between(""), "pass", -0.1),
        (Measured((1.0, 3.0), (2.0, 3.5)), between(""), "fail", 0.5),
        (estimate(2.0, 0.5, 3.5), shown(""), "pass", -0.5),
        (estimate(2.0, -0.5, 4.5), shown(""), "fail", 0.5),
        (estimate(2.0, 0.5, 3.5), at_most(0.0, ""), "fail", 3.5),
    ],
)
def test_judging(measured: Measured, tolerance: Tolerance, state: str, error: float) -> None:
    result = made(measured, tolerance).run()
    assert (result.state, result.error) == (state, pytest.approx(error))


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_no_number_fails(value: float) -> None:
    for tolerance in (absolute(1.0, ""), at_most(1.0, ""), at_least(1.0, ""), relative(1.0, "")):
        assert made(one(1.0, value), tolerance).run().state == "fail"


def test_the_worst_value_is_shown() -> None:
    result = made(Measured((1.0, 2.0, 3.0), (1.1, 2.4, 3.2)), absolute(0.1, "")).run()
    assert (result.expected, result.got, result.values) == (2.0, 2.4, 3)


def test_a_check_that_breaks_off_is_reported_and_not_lost() -> None:
    def broken() -> Measured:
        raise RuntimeError("no such truck")

    frame = Group("statics", "Invented").check(
        "broken", "a claim", source="nowhere", known="from memory", unit="m", tolerance=absolute(1.0, "")
    )
    result = frame(broken).run()
    assert result.state == "broken"
    assert "no such truck" in result.note


def test_a_missing_library_is_named_and_costs_exit_code_1_only_when_all_were_asked_for() -> None:
    result = made(one(1.0, 1.0), absolute(1.0, ""), needs=("a_library_nobody_has",)).run()
    assert result.state == "not run"
    assert "a_library_nobody_has" in result.note
    assert report.exit_code([result], asked_for_all=True) == 1
    assert report.exit_code([result], asked_for_all=False) == 0
    assert report.exit_code([Result("x", "fail")], asked_for_all=False) == 1
    assert report.exit_code([Result("x", "pass")], asked_for_all=True) == 0


def test_the_page_has_every_check_and_shows_what_fails() -> None:
    good, bad = made(one(1.0, 1.0), absolute(0.1, "a | b")), made(one(1.0, 2.0), absolute(0.1, "why"))
    page = report.markdown([(good, good.run()), (bad, bad.run())], "picture.png")
    assert page.count("**invented**") == 3  # two rows and the list of failures
    assert "FAIL" in page
    assert "a \\| b" in page
    assert "2 checks: 1 passed, 1 failed" in page
    assert "![Error over tolerance of every check](picture.png)" in page


def test_names_are_unique_and_everything_has_a_source_and_a_reason() -> None:
    everything = checks()
    assert len({check.name for check in everything}) == len(everything)
    for check in everything:
        assert check.source, check.name
        assert check.claim, check.name
        assert check.tolerance.reason, check.name
        assert check.function.__doc__, check.name


def test_an_unknown_group_is_refused_with_the_known_ones() -> None:
    with pytest.raises(SimError, match="no such group or check.*Groups: "):
        checks(("nonsense",))


def test_quick_leaves_out_what_is_slow() -> None:
    assert not any(check.slow for check in checks(quick=True))
    assert len(checks(quick=True)) < len(checks())


def command(*words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "sim.cli.main", "validate", *words]
    return subprocess.run(line, cwd=ROOT, capture_output=True, text=True, check=False)


def test_command_writes_table_page_picture_and_json(tmp_path: Path) -> None:
    page, picture = tmp_path / "page.md", tmp_path / "picture.png"
    words = ("--only", "mechanical lead", "--only", "Ackermann", "--workers", "1")
    answer = command(*words, "--markdown", str(page), "--picture", str(picture))
    assert answer.returncode == 0, answer.stderr
    assert "2 checks: 2 passed" in answer.stdout
    assert "cot(outer) - cot(inner) = w / l" in page.read_text(encoding="utf-8")
    assert picture.read_bytes().startswith(b"\x89PNG")
    data = json.loads(command(*words, "--json").stdout)
    assert [check["state"] for check in data["checks"]] == ["pass", "pass"]


def test_command_lists_and_refuses() -> None:
    assert "mechanical lead" in command("--list").stdout
    answer = command("--only", "nonsense")
    assert answer.returncode == 2
    assert "nonsense" in answer.stderr
    assert "Traceback" not in answer.stderr


NO_SOURCE = re.compile(
    r"\w\.(com|org|net|edu|jp|au|de|nl)\b|www\.|https?:|withheld|forum|wikipedia|\bblog\b", re.IGNORECASE
)


def told(file: Path) -> Iterator[tuple[int, str]]:
    """Comments and docstrings of a file with their lines: where sources stand beside a number."""
    with tokenize.open(file) as lines:
        for token in tokenize.generate_tokens(lines.readline):
            if token.type == tokenize.COMMENT or (token.type == tokenize.STRING and token.string.startswith('"""')):
                yield token.start[0], token.string


def test_sources_beside_numbers_are_no_web_sites() -> None:
    """In the packages and in the tests themselves: a textbook, a standard, a paper, a manual, or said to be none."""
    files = [file for folder in ("models", "terrain", "sim", "tests") for file in sorted((ROOT / folder).rglob("*.py"))]
    assert len(files) > 400
    bad = [f"{file.relative_to(ROOT)}:{line}: {text[:80]}" for file in files for line, text in told(file)
           if NO_SOURCE.search(text)]  # fmt: skip
    assert bad == []


def test_every_source_can_be_found_or_says_that_it_cannot() -> None:
    """No bare web site, no address cut short or kept back; what was read has a year, an edition or a paragraph."""
    for check in checks():
        words = check.source
        assert not re.search(r"\w\.(com|org|net|edu|jp|au|de)\b|www|https?:|\.\.\.|…|withheld|forum", words), words
        assert "from memory" not in words, words
        assert check.known not in words, words
        if check.known == "read":
            assert re.search(r"\b(1[89]|20)\d\d\b|SAE J\d+|CFR", words), words
