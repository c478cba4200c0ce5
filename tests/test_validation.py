"""Every check of the validation page is a test too; those that are known to fail are named with their cause."""

from __future__ import annotations

import pytest

from sim.validation.catalogue import checks
from sim.validation.check import Check

FINDINGS = {
    "ledge, askew": "3 % higher at 45 deg to a grid of 0.5 mm: cells blur the edge, in proportion to their width",
    "v-notch, askew": "4 % steeper at 45 deg to a grid of 0.5 mm: cells blur the creases",
    "wide portal, narrow straight": "1.9 deg between the two with the tracks and heights assumed, 4 deg measured",
    "overdrive, climb": "on an even slope front overdrive gains nothing that can be shown",
}
"""Checks that fail, by name, with what was found: shown as failing on the page, strict here, so that a cure shows."""


def _cases() -> list[object]:
    cases = []
    for check in checks():
        marks = [pytest.mark.slow] if check.slow else []
        if check.name in FINDINGS:
            marks.append(pytest.mark.xfail(reason=FINDINGS[check.name], strict=True))
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
    assert set(FINDINGS) <= {check.name for check in checks()}
