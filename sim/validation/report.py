"""Results as words: cells of the table, one Markdown page, plain data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from sim.validation.catalogue import groups
from sim.validation.check import Check, Result

LIBRARIES = ("pybullet", "numba", "numpy", "scipy", "statsmodels", "mujoco", "pin", "yourdfpy")
Row = tuple[Check, Result]


def number(value: float) -> str:
    """Four figures."""
    if not math.isfinite(value):
        return "–"
    return f"{value:.4g}" if 1e-3 <= abs(value) < 1e5 or value == 0 else f"{value:.2e}"


def expected(check: Check, result: Result) -> str:
    """The reference value, or both of a range."""
    if result.state in ("broken", "not run"):
        return "–"
    if result.upper is not None:
        return f"{number(result.expected)} … {number(result.upper)}"
    sign = {"at most": "≤ ", "at least": "≥ ", "shown": "> "}.get(check.tolerance.kind, "")
    return sign + number(result.expected)


def got(result: Result) -> str:
    """Our value, with its interval if it has one."""
    if result.state in ("broken", "not run"):
        return "–"
    if result.interval is not None:
        return f"{number(result.got)} ({number(result.interval[0])} … {number(result.interval[1])})"
    many = f" (worst of {result.values})" if result.values > 1 else ""
    return number(result.got) + many


def error(check: Check, result: Result) -> str:
    """How far off; for a bound, what is left."""
    if result.state in ("broken", "not run"):
        return "–"
    if check.tolerance.kind == "relative":
        return f"{100 * result.error:.2g} %"
    if check.tolerance.kind == "absolute":
        return number(result.error)
    return f"over by {number(result.error)}" if result.error > 0 else f"room {number(-result.error)}"


def verdict(result: Result) -> str:
    """The word in the last column."""
    return {"pass": "pass", "fail": "FAIL", "broken": "BROKEN", "not run": "not run"}[result.state]


def summary(results: Sequence[Result]) -> str:
    """How many of each, in one line."""
    counts = {state: sum(r.state == state for r in results) for state in ("pass", "fail", "broken", "not run")}
    words = {"pass": "passed", "fail": "failed", "broken": "broke off", "not run": "not run"}
    told = [f"{count} {words[state]}" for state, count in counts.items() if count or state == "pass"]
    return f"{len(results)} checks: {', '.join(told)}"


def exit_code(results: Sequence[Result], *, asked_for_all: bool) -> int:
    """1 when anything failed or broke, or when everything was asked for and something could not be run."""
    bad = {"fail", "broken"} | ({"not run"} if asked_for_all else set())
    return int(any(r.state in bad for r in results))


def by_group(rows: Sequence[Row]) -> list[tuple[str, list[Row]]]:
    """Rows under the titles of their groups."""
    titles = [(group.title, [row for row in rows if row[0].group == group.name]) for group in groups()]
    return [(title, some) for title, some in titles if some]


def markdown(rows: Sequence[Row], picture: str | None = None) -> str:
    """One page: what was checked against what, and how it came out."""
    results = [result for _, result in rows]
    lines = [
        "# Checks against something outside this project",
        "",
        f"{summary(results)}. This page is written by `python3 scripts/validate.py`; the same checks run as tests.",
        "",
        "Each row names where its reference value comes from and how it is known: *read* in the source named, *from "
        "memory* (the source is named as remembered), *derived here* from the laws of mechanics, *unsourced* (said in "
        "the trade or measured by somebody, with nothing to cite), or computed by an *other library*. Of several "
        "values the worst is shown. A failing check stays here until it passes.",
        "",
        f"Computed with {', '.join(installed())}.",
        "",
    ]
    if picture:
        lines += [f"![Error over tolerance of every check]({picture})", ""]
    failing = [row for row in rows if row[1].state != "pass"]
    if failing:
        lines += ["## What does not pass", ""]
        lines += [f"- **{_cell(c.name)}** ({verdict(r)}): {_cell(c.claim)}. {_failing(c, r)}" for c, r in failing]
        lines += [""]
    for title, some in by_group(rows):
        lines += [f"## {title}", "", "| " + " | ".join(COLUMNS) + " |", "|" + "---|" * len(COLUMNS)]
        lines += ["| " + " | ".join(_cell(cell) for cell in _row(check, result)) + " |" for check, result in some]
        lines += [""]
    return "\n".join(lines)


COLUMNS = ("Check", "Source (how known)", "Unit", "Expected", "Got", "Error", "Tolerance (why)", "")


def _row(check: Check, result: Result) -> list[str]:
    note = f". *{result.note}*" if result.note else ""
    return [
        f"**{check.name}**: {check.claim}{note}",
        f"{check.source} ({check.known})",
        check.unit,
        expected(check, result),
        got(result),
        error(check, result),
        f"{check.tolerance.words}: {check.tolerance.reason}",
        verdict(result),
    ]


def _failing(check: Check, result: Result) -> str:
    if result.state in ("broken", "not run"):
        return _cell(result.note)
    values = f"Expected {expected(check, result)}, got {got(result)} {check.unit} ({error(check, result)})."
    return _cell(f"{values} {result.note}".strip())


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def installed() -> list[str]:
    """Libraries and versions behind the numbers."""
    found = []
    for name in LIBRARIES:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            continue
    return found


def data(rows: Sequence[Row]) -> dict[str, Any]:
    """Everything as plain data."""
    entries = []
    for check, result in rows:
        entries.append({
            "name": check.name,
            "group": check.group,
            "claim": check.claim,
            "source": check.source,
            "known": check.known,
            "unit": check.unit,
            "tolerance": {"kind": check.tolerance.kind, "value": check.tolerance.value},
            "reason": check.tolerance.reason,
            **{key: value for key, value in asdict(result).items() if key != "name"},
        })
    return {"summary": summary([r for _, r in rows]), "libraries": installed(), "checks": entries}
