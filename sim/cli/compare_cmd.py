"""``cragbench compare``: what a store shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_json, show_table
from sim.cli.options import Json, StoreFile
from sim.errors import make_folder

if TYPE_CHECKING:
    from sim.compare.comparison import CellResult, Comparison
    from sim.compare.limits import Limit
    from sim.statistics.interval import Estimate
    from sim.statistics.threshold import Grid


def compare(
    store: StoreFile,
    baseline: Annotated[str | None, typer.Option(help="Configuration to compare with; left out, the plan's.")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for charts and CSV; left out, beside the store.")] = None,
    charts: Annotated[bool, typer.Option(help="Draw the charts.")] = True,
    formats: options.Formats = "png,svg",
    tilt: Annotated[int, typer.Option(
        min=0, help="Directions in which the trucks (at most 16) are tipped on a simulated table, a multiple of 4; "
                    "some 2 s a truck for 16, kept for the next time. 0: none.",
    )] = 16,
    as_json: Json = False,
) -> None:
    """Compare the configurations of a store: success rates and tip-over margins with intervals, paired differences.

    Differences are paired: both trucks met the same start, grip and rocks. "better" and "worse" are said only where
    the exact test still stands when all comparisons of the store are read together (Holm's method).
    """
    from sim.cli import together
    from sim.compare.left_out import left_out
    from sim.decision import warned
    from sim.report.reading import read
    from sim.store.store import Store

    folder = out or store.absolute().parent
    with Store(store) as opened:
        make_folder(folder)
        reading = read(opened, baseline, tilt, folder / f"{store.stem}-tilt.json", together.announce(tilt))
        missing = left_out(opened, reading.comparison)
    comparison = reading.comparison
    wanted = formats.split(",") if charts and formats else []
    files = write_files(comparison, folder, store.stem, wanted)
    files += together.charts(reading, folder, store.stem, wanted)
    if as_json:
        data = as_data(comparison) | {"left_out": missing}
        data |= {"limits": [_limit_data(limit) for limit in reading.limits]} | together.as_data(reading)
        data |= {"tip": together.tips_as_data(reading), "cautions": warned.as_data(reading.cautions)}
        show_json(data | {"finding": ". ".join(reading.sentences), "files": [str(f) for f in files]})
        return
    show(comparison)
    _show_limits(reading.limits)
    together.show_tips(reading)
    for sentence in reading.sentences:
        say(sentence + ".")
    for text in reading.together:
        say(text)
    for text in missing:
        note(f"WARNING: {text}.")
    options.warn(reading.cautions)
    say()
    for file in files:
        say(f"wrote {file}")


def write_files(
    comparison: Comparison, folder: Path, stem: str, formats: list[str], assumed: str = ""
) -> list[Path]:
    """Write the table as CSV, and the charts in every format asked for."""
    from sim.compare.export import write_comparison_csv

    make_folder(folder)
    files = [write_comparison_csv(comparison, folder / f"{stem}-comparison.csv")]
    if formats:
        from sim.chart import style
        from sim.chart.margins import margins
        from sim.chart.rates import rates

        files += style.save(rates(comparison, assumed), folder / f"{stem}-success", formats)
        files += style.save(margins(comparison, assumed), folder / f"{stem}-margin", formats)
    return files


def show(comparison: Comparison) -> None:
    """Print the comparison as one table per obstacle and level, but for those where a limit was searched."""
    from sim.compare.comparison import at, places
    from sim.compare.sentences import difference, label, rate_sides, share

    for where in places(comparison.cells):
        if where[0] in comparison.searched:
            continue
        cells = at(comparison.cells, where)
        rows = [
            (
                cell.name,
                f"{cell.rate.successes}/{cell.rate.trials}",
                share(cell).replace(" %", ""),
                _margin(cell),
                difference(cell),
                cell.verdict.words if cell.verdict else "baseline",
            )
            for cell in cells
        ]
        columns = ("configuration", "cleared", "success, %", "margin, °", "difference", "verdict")
        show_table(f"{label(cells[0])}, {where[2]} driver", columns, rows)
        _say_sides([f"{cell.name}{rate_sides(cell)}" for cell in cells if cell.sides])
    say("success with 95 % Wilson interval; margin: smallest tip-over margin of a trial, median / 5th percentile,")
    say("of those that did not go over;")
    say("difference: paired, in points of success rate against the baseline, with 95 % interval.")
    say()
    if comparison.stopped_early:
        say("This study stopped pairs when they were decided: verdicts keep an error of 5 % for all of them together,")
        say("intervals are those of a number of trials fixed beforehand.")
        say()
    if comparison.invalid:
        note(f"WARNING: {comparison.invalid} trials are invalid (the solver failed); they are in no rate.")


def _say_sides(found: Sequence[str]) -> None:
    for text in found:
        say(f"by side: {text}")


def _show_limits(found: Sequence[Limit]) -> None:
    from sim.compare.sentences import kind, level, limit_sides, shift

    for place in dict.fromkeys((limit.obstacle, limit.driver) for limit in found):
        own = [limit for limit in found if (limit.obstacle, limit.driver) == place]
        unit = own[0].unit
        rows = [
            (
                limit.name,
                f"{limit.trials}",
                _level(limit.half, limit.belief.grid),
                _level(limit.ninety, limit.belief.grid),
                "" if limit.difference is None else shift(limit.difference),
                limit.word + (f"; {limit.groups_text}" if limit.groups else "; doubtful fit" if limit.doubtful else ""),
            )
            for limit in own
        ]
        columns = ("configuration", "trials", "clears half at", "nine in ten at", "difference", "verdict")
        show_table(f"{kind(own[0].obstacle)}, in {level(1, unit)[1:].strip()}, {place[1]} driver", columns, rows)
        _say_sides([f"{limit.name}{limit_sides(limit)}" for limit in own if limit.sides])
    if found:
        say("limits with 95 % credible interval; an open end lies beyond the levels tried.")
        say()
    if any(limit.doubtful for limit in found):
        note("WARNING: where the fit is doubtful, trials do not fall off with the level as a limit supposes.")


def _span(estimate: Estimate) -> str:
    value, low, high = (f"{x:.3g}" if math.isfinite(x) else "…" for x in (estimate.value, estimate.low, estimate.high))
    return f"{value} ({low} to {high})"


def _level(estimate: Estimate, tried: Grid) -> str:
    if estimate.high == -math.inf:
        return f"under {tried.low:g}"
    return f"over {tried.high:g}" if estimate.low == math.inf else _span(estimate)


def _limit_data(limit: Limit) -> dict[str, Any]:
    from sim.compare.export import limit_row

    return limit_row(limit)


def as_data(comparison: Comparison) -> dict[str, Any]:
    """The comparison as plain data."""
    return {
        "baseline": comparison.baseline.name,
        "code": comparison.versions.code,
        "engine": comparison.versions.engine,
        "invalid": comparison.invalid,
        "other_versions": comparison.other_versions,
        "cells": [_cell(cell) for cell in comparison.cells],
    }


def _cell(cell: CellResult) -> dict[str, Any]:
    from sim.compare.export import comparison_row

    return comparison_row(cell)


def _margin(cell: CellResult) -> str:
    from sim.compare.sentences import over

    stood = math.isfinite(cell.margin_median.value)
    numbers = f"{cell.margin_median.value:.1f} / {cell.margin_p5.value:.1f}" if stood else ""
    return ", ".join(text for text in (numbers, over(cell)) if text)
