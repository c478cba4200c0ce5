"""Every check of the validation page is a test too; those that are known to fail are named with their cause."""

from __future__ import annotations

import os

import pytest

from sim.validation.catalogue import checks
from sim.validation.check import Check

FINDINGS = {
    "v-notch, finer grids": "2.4 % steeper on 1 mm with four tries, 2.0 +- 0.5 % with twelve; 2 % was asked",
    "v-notch, askew": "2.2 +- 2.4 % steeper at 45 deg, 2 % was asked: a truck between two walls is free sideways",
    "wide portal, narrow straight": "1.9 deg between the two with the tracks and heights assumed, 4 deg measured",
    "overdrive, climb": "on an even slope front overdrive gains nothing that can be shown",
}
"""Checks that fail, by name, with what was found: shown as failing on the page, strict here, so that a cure shows."""

LONG = {f"second contact model, {line}": "minutes of a core" for line in ("climb", "ledge-on-slope", "descent")}
LONG["spun over a step, finite elements"] = "two minutes of a core"
LONG["push over a high step, finite elements"] = "more than ten seconds of a core for one number"
LONG["v-notch, askew"] = LONG["v-notch, finer grids"] = "more than a minute of a core"
LONG |= dict.fromkeys(
    ("ledge-on-slope, askew", "ledge-down, askew", "coverage, luck and unknowns, half"), "half a minute of a core"
)
"""Checks that the page alone runs: here with CRAGBENCH_LONG=1."""


def _cases() -> list[object]:
    cases = []
    for check in checks():
        marks = [pytest.mark.slow] if check.slow else []
        if check.name in FINDINGS:
            marks.append(pytest.mark.xfail(reason=FINDINGS[check.name], strict=True))
        if check.name in LONG and not os.environ.get("CRAGBENCH_LONG"):
            marks.append(pytest.mark.skip(reason=f"{LONG[check.name]}: the page runs it, or CRAGBENCH_LONG=1"))
        cases.append(pytest.param(check, id=check.name.replace(" ", "-"), marks=marks))
    return cases


@pytest.mark.parametrize("check", _cases())
def test_check_passes(check: Check) -> None:
    if check.lacking:
        pytest.skip(f"needs {', '.join(check.lacking)}")
    result = check.run()
    told = f"{result.state}: expected {result.expected} {check.unit}, got {result.got}, error {result.error:.3g}"
    assert result.state == "pass", f"{told} (tolerance {check.tolerance.words}). {result.note}"


def test_every_finding_is_a_check() -> None:
    assert set(FINDINGS) | set(LONG) <= {check.name for check in checks()}
