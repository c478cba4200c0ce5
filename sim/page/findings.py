"""What a store shows by now, in the words of ``compare``; what a decision command answered, as rows to sort."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sim.compare.comparison import compare
from sim.compare.limits import limits
from sim.compare.sentences import difference, label, sentences, share, shift
from sim.decision.caution import briefly
from sim.decision.configurations import lineup, warned
from sim.decision.stored_trials import Shots
from sim.errors import SimError
from sim.page.run_state import RunState
from sim.statistics.interval import Estimate
from sim.store.store import Store


@dataclass(frozen=True)
class PlaceRate:
    """One truck at one place."""

    place: str
    truck: str
    rate: str
    rate_value: float
    trials: int
    difference: str
    words: str
    word: str


@dataclass(frozen=True)
class Findings:
    """What is known so far."""

    verdict: tuple[str, ...]
    cells: tuple[PlaceRate, ...]
    trials: int
    cautions: tuple[str, ...]
    differs: bool
    """Whether the trucks' outcomes differ anywhere."""


def findings(store: Path) -> Findings | None:
    """Read a store while it is being filled; None before its first trial.

    :raises SimError: It is damaged.
    """
    with Store(store) as opened:
        if opened.latest() is None:
            return None
        try:
            found = compare(opened)
        except SimError:
            return None
        members = lineup(found, opened.configurations())
        told = warned(members, found, Shots(opened, found).exertion())
    cells = tuple(
        PlaceRate(label(cell), cell.name, share(cell), cell.rate.share if cell.rate.trials else 0.0, cell.rate.trials,
             difference(cell), "" if cell.verdict is None else cell.verdict.words,
             "" if cell.verdict is None else cell.verdict.word)
        for cell in found.cells
    )
    verdict = tuple(text[:1].upper() + text[1:] + "." for text in sentences(found, limits(found)))
    differs = any(cell.verdict is not None and cell.verdict.table.changed_only + cell.verdict.table.baseline_only
                  for cell in found.cells)
    return Findings(verdict, cells, sum(cell.trials for cell in cells), tuple(briefly(told)), differs)


@dataclass(frozen=True)
class Decided:
    """A decision command's answer: sentences, and a table with the number that each cell is sorted by."""

    sentences: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[tuple[str, float | str], ...], ...]


def of_decision(run: RunState) -> Decided | None:
    """Turn the answer of a decision command into a table."""
    if not run.result or run.kind not in _TABLES:
        return None
    said, columns, rows = _TABLES[run.kind](run.result)
    return Decided(tuple(text for text in said if text), columns, tuple(rows))


def words(run: RunState) -> tuple[Mapping[str, Any], ...]:
    """What ``cragbench verdict`` says of each change of a run: its name, the word, the sentences."""
    return tuple(run.result.get("words", ())) if run.kind == "plan" else ()


Result = Mapping[str, Any]
Row = tuple[tuple[str, float | str], ...]
Told = tuple[Sequence[str], tuple[str, ...], list[Row]]


def _worth(result: Result) -> Told:
    money = result.get("currency") or "money"
    rows: list[Row] = [
        (_name(one["name"]), _ranged(one["alone"]), _ranged(one["shapley"]), _plain(one["price"]),
         _plain(one["mass_g"], "+.1f"), _per_money(one)) for one in result["changes"]]
    columns = ("change", "alone", "in company", f"price, {money}", "grams", f"gain per {money}")
    return [result["sentence"], result["cost_of_error"]], columns, rows


def _budget(result: Result) -> Told:
    rows: list[Row] = [
        (_name(one["set"]), _plain(one["price"]), _plain(one["mass_g"], "+.0f"), _ranged(one["gain"]),
         _name("yes" if one["driven"] else "no")) for one in result["driven"]]
    return result["sentences"], ("set", f"price, {result['currency']}", "grams", "gain", "driven"), rows


def _doubt(result: Result) -> Told:
    rows: list[Row] = [
        (_name(one["name"]), _ranged(one["low"]), _ranged(one["high"]), _share(one["decides"]),
         _plain(one["minutes"]), _name(one["measure"] or "")) for one in result["influences"]]
    columns = ("not known", "gain if low", "gain if high", "decides, % of cases", "minutes", "how to measure")
    # Answers of an earlier version hold the first sentence alone.
    return result.get("sentences", [result["sentence"]]), columns, rows


def _reality(result: Result) -> Told:
    rows: list[Row] = [
        (_name(one["family"]), _plain(one["lines"]), _plain(one["tries"]), _share(one["predicted"]),
         _share(one["seen"])) for one in result["families"]]
    return result["conclusions"], ("kind of line", "lines", "tries", "foretold, %", "cleared, %"), rows


_TABLES: Mapping[str, Callable[[Result], Told]] = {
    "worth": _worth, "budget": _budget, "doubt": _doubt, "reality": _reality}


def _per_money(one: Mapping[str, Any]) -> tuple[str, float | str]:
    """Gain per unit of money; what costs nothing comes before or after all that costs, as it gains or loses."""
    if one["price"] == 0:
        return "free", math.copysign(1e8, float(one["shapley"]["value"]))
    return _plain(one["per_money"], ".2f")


def _name(value: Any) -> tuple[str, float | str]:
    return str(value), str(value)


def _share(value: float) -> tuple[str, float | str]:
    return f"{100.0 * value:.0f}", value


def _ranged(estimate: Mapping[str, Any]) -> tuple[str, float]:
    found = Estimate(*(float(estimate[key]) for key in ("value", "low", "high")))
    return shift(found), found.value


def _plain(value: Any, form: str = "g") -> tuple[str, float | str]:
    return ("?", -1e9) if value is None else (format(float(value), form), float(value))
