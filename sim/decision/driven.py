"""A judgement on trials driven at stated levels: what :mod:`sim.decision.judgement` wants of a comparison."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from sim.compare.comparison import CellResult, Comparison
from sim.compare.sides import side_names
from sim.decision.effect import Effect, LineEffect, Reached
from sim.decision.judgement import Judgement, Spread, judge
from sim.decision.levels import Chosen
from sim.decision.obstacle_mix import Line
from sim.statistics.group_sequential import ERROR
from sim.statistics.interval import Estimate
from sim.statistics.paired import PairTable, paired_difference
from sim.trial.luck import one_sided


def ranged(chosen: Sequence[Chosen]) -> tuple[Line, ...]:
    """The lines with the range and weight that their chosen levels stand for; without weight where there are none."""
    found = []
    for one in chosen:
        levels = one.levels
        gap = (levels[-1] - levels[0]) / (len(levels) - 1) if len(levels) > 1 else one.line.step
        span = (levels[0] - 0.5 * gap, levels[-1] + 0.5 * gap) if levels else one.line.span
        found.append(replace(one.line, weight=float(len(levels)), span=span))
    return tuple(found)


def judged(
    comparison: Comparison, config: str, lines: Sequence[Line], least: float, spread: Spread | None = None
) -> Judgement:
    """Judge one configuration (hash) against the baseline over everything driven.

    :param lines: What was driven, from :func:`ranged`.
    :param spread: What the unknowns add to the gain, over the same ranges.
    """
    own = [cell for cell in comparison.cells if cell.config == config and cell.verdict is not None]
    return judge(_effect(own, lines), least, spread, _sides(own))


def _effect(own: Sequence[CellResult], lines: Sequence[Line]) -> Effect:
    by_line, without = [], []
    whole = _sum(own)
    lines = [line for line in lines if any(cell.obstacle == line.obstacle for cell in own)]
    for line in lines:
        here = _sum([cell for cell in own if cell.obstacle == line.obstacle])
        rest = _sum([cell for cell in own if cell.obstacle != line.obstacle])
        n, share = here.pairs, here.pairs / whole.pairs
        base, changed = (Reached(x, math.nan, math.nan)
                         for x in ((here.both + here.baseline_only) / n, (here.both + here.changed_only) / n))
        gain = _points(here)
        brings = Estimate(share * gain.value, share * gain.low, share * gain.high)
        by_line.append(LineEffect(line, base, changed, paired_difference(here), share, brings))
        if len(lines) > 1:
            without.append(_points(rest))
    apart = (whole.changed_only + whole.baseline_only) / whole.pairs
    scatter = 100.0 * math.sqrt(max(apart - whole.difference**2, 0.0))
    return Effect(own[0].config, _points(whole), tuple(by_line), tuple(without), whole.pairs, scatter, ERROR)


def _sides(own: Sequence[CellResult]) -> Mapping[str, Estimate]:
    """Gain on either side over the ground that has sides."""
    sided = [cell for cell in own if one_sided(cell.obstacle) and cell.side_tables is not None]
    tables = [PairTable.sum(cell.side_tables[k] for cell in sided if cell.side_tables) for k in (0, 1)]
    names = side_names([cell.obstacle for cell in sided])
    return {name: _points(table) for name, table in zip(names, tables, strict=True) if table.pairs}


def _sum(cells: Sequence[CellResult]) -> PairTable:
    return PairTable.sum(cell.verdict.table for cell in cells if cell.verdict is not None)


def _points(table: PairTable) -> Estimate:
    found = paired_difference(table)
    return Estimate(100.0 * found.value, 100.0 * found.low, 100.0 * found.high)
