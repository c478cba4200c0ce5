"""What a comparison shows, in plain words. The words follow the intervals and nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from sim.compare.comparison import CellResult, Comparison
from sim.compare.limits import Limit
from sim.compare.sides import both, side_names
from sim.statistics.interval import Estimate
from sim.statistics.paired import Verdict
from terrain import file_name

TOO_FEW = "too few trials"
"""Word of a comparison from which no number is told."""
MANY = 3
"""Places named one by one; beyond this they are counted."""


def finding(comparison: Comparison) -> str:
    """One sentence on the whole comparison: page and terminal say this one."""
    names = list(dict.fromkeys(cell.name for cell in comparison.cells if cell.verdict is not None))
    if not names:
        return _alone(comparison.cells)
    if len(names) == 1:
        own = [cell for cell in comparison.cells if cell.name == names[0] and cell.verdict is not None]
        return about(comparison, names[0]) if len(own) == 1 else f"{together(comparison, names[0])}; {_places(own)}"
    return _several(comparison)


def together(comparison: Comparison, name: str) -> str:
    """What one configuration does over all obstacles and levels together, against the baseline."""
    own = [cell for cell in comparison.cells if cell.name == name and cell.verdict is not None]
    found = comparison.overall[own[0].config]
    what = f"the {len(own)} obstacles and levels driven" if len(own) > 1 else label(own[0])
    if not found.table.pairs:
        return f"{name}: no pair with {comparison.baseline.name} on {what}"
    return f"{name} against {comparison.baseline.name}, over {what}: {points(found)}, {found.words}"


def points(found: Verdict) -> str:
    """Difference of success in points with its interval; nothing from too few pairs."""
    d = found.difference
    if found.word == TOO_FEW:
        return f"{found.table.pairs} pairs"
    return f"{100 * d.value:+.0f} points of success ({100 * d.low:+.0f} to {100 * d.high:+.0f})"


def sentences(comparison: Comparison, limits: Sequence[Limit]) -> list[str]:
    """Sentences on a store: success rates at given levels, then each limit that was searched."""
    fixed = tuple(cell for cell in comparison.cells if cell.obstacle not in comparison.searched)
    found = [finding(replace(comparison, cells=fixed))] if fixed else []
    bases = {(limit.obstacle, limit.driver): limit for limit in limits if limit.difference is None}
    for limit in limits:
        base = bases.get((limit.obstacle, limit.driver))
        if base is not None and (limit.obstacle in comparison.searched or limit.difference is not None):
            found.append(_about_limit(limit, base))
    return found


def _about_limit(limit: Limit, base: Limit) -> str:
    sides = limit_sides(limit)
    own, theirs = (level(float(f"{one.half.value:.3g}"), one.unit) for one in (limit, base))
    where = kind(limit.obstacle)
    if limit.difference is None:
        return f"{limit.name} clears half at {where} {own} ({limit.half.low:.3g} to {limit.half.high:.3g}){sides}"
    said = f"{limit.name} clears half at {where} {own} against {theirs}: {limit.word}, {shift(limit.difference)}{sides}"
    return said + (f" ({limit.groups_text})" if limit.groups else "")


def shift(of: Estimate) -> str:
    """How far a limit moves, in its own unit, to a tenth as everywhere, with its interval."""
    value, low, high = (f"{round(x, 1) + 0.0:+.1f}" if math.isfinite(x) else "…" for x in (of.value, of.low, of.high))
    return f"{value} ({low} to {high})"


def textbook_lines(limits: Sequence[Limit]) -> list[str]:
    """One line for each limit of two trucks, by the textbook; of more trucks the tables alone hold them."""
    if len({limit.config for limit in limits}) != 2:
        return []
    return [_textbook(limit) for limit in limits if limit.textbook]


def _textbook(limit: Limit) -> str:
    unit = level(1, limit.unit)[1:].strip()
    found = ", ".join(f"{name} {shift(one)}" for name, one in limit.textbook.items())
    return f"{limit.name} on {kind(limit.obstacle)}, shift of the limit in {unit}: {found} (95 %)."


def about(comparison: Comparison, name: str) -> str:
    """One sentence on where one configuration does better or worse than the baseline."""
    return f"{name}: {_places([c for c in comparison.cells if c.name == name and c.verdict is not None])}"


def _places(own: Sequence[CellResult]) -> str:
    better, worse = (_where(own, word) for word in ("better", "worse"))
    if better and worse:
        return f"better on {better}, and pays for it on {worse}"
    if better or worse:
        return f"better on {better}{_rest(own)}" if better else f"worse on {worse}{_rest(own)}"
    words = {cell.verdict.words for cell in own if cell.verdict is not None}
    if len(own) == 1:
        return f"{words.pop()} on {label(own[0])}{gain_sides(own[0])}"
    return f"no single one of {len(own)} obstacles and levels shows a difference"


def difference(cell: CellResult) -> str:
    """Paired difference of success rates in points, with its interval."""
    if cell.verdict is None:
        return ""
    d = cell.verdict.difference
    if cell.verdict.word == TOO_FEW:
        return ""
    return f"{100 * d.value:+.0f} ({100 * d.low:+.0f} to {100 * d.high:+.0f})"


def share(cell: CellResult) -> str:
    """Success rate in percent, with its interval."""
    r = cell.rate
    return f"{100 * r.share:.0f} % ({100 * r.low:.0f}-{100 * r.high:.0f})" if r.trials else "no valid trial"


def rate_sides(cell: CellResult) -> str:
    """``; uphill left 100 % (91 to 100), …``; empty where left and right are alike."""
    if cell.sides is None:
        return ""
    plain, mirrored = (_hundred(Estimate(rate.share, rate.low, rate.high)) for rate in cell.sides)
    return f"; {both(side_names([cell.obstacle]), (plain, mirrored), '.0f', ' %')}"


def gain_sides(cell: CellResult) -> str:
    """The paired difference on either side in points, said like :func:`rate_sides`."""
    if cell.side_gains is None:
        return ""
    plain, mirrored = (_hundred(gain) for gain in cell.side_gains)
    return f"; {both(side_names([cell.obstacle]), (plain, mirrored), '+.0f')}"


def _hundred(one: Estimate) -> Estimate:
    return Estimate(*(100 * x for x in (one.value, one.low, one.high)))


def limit_sides(limit: Limit) -> str:
    """The level cleared half of the time on either side, said like :func:`rate_sides`."""
    if limit.sides is None:
        return ""
    unit = level(1, limit.unit)[1:]
    return f"; {both(side_names([limit.obstacle]), limit.sides, '.3g', unit)}"


def over(cell: CellResult) -> str:
    """How many trials ended on side, back or nose: they have no margin; empty if none did."""
    return f"{cell.rolled.successes} over" if cell.rolled.successes else ""


def level(value: float, unit: str) -> str:
    """Level with its unit, as ``30 mm`` or ``35°``."""
    return f"{value:g}°" if unit == "deg" else f"{value:g} {unit}"


def label(cell: CellResult) -> str:
    """Obstacle and level for people: ``ledge on slope 30 mm``, with what else the family was told."""
    words, _, extra = kind(cell.obstacle).partition(" (")
    return f"{words} {level(cell.level, cell.unit)}" + (f" ({extra}" if extra else "")


def kind(obstacle: str) -> str:
    """Obstacle without its level for people: ``ledge on slope (slope 15°)``."""
    family, _, rest = obstacle.partition(",")
    extra = f" ({', '.join(_parameter(text) for text in rest.split(','))})" if rest else ""
    return file_name.short_name(family) + extra if file_name.names_file(family) else family.replace("-", " ") + extra


def _parameter(text: str) -> str:
    """``slope_deg=15`` as ``slope 15°``."""
    name, _, value = text.partition("=")
    words, _, unit = name.rpartition("_")
    return f"{words.replace('_', ' ')} {level(float(value), unit)}" if words else f"{name} {value}"


def _where(cells: Sequence[CellResult], word: str) -> str:
    found = [cell for cell in cells if cell.verdict is not None and cell.verdict.word == word]
    if len(found) > MANY:
        return f"{len(found)} of {len(cells)} obstacles"
    named = [f"{label(cell)} ({_points(cell)} points{gain_sides(cell)})" for cell in found]
    return " and ".join([", ".join(named[:-1]), named[-1]]) if len(named) > 1 else "".join(named)


def _points(cell: CellResult) -> str:
    return "" if cell.verdict is None else f"{100 * cell.verdict.difference.value:+.0f}"


def _rest(cells: Sequence[CellResult]) -> str:
    unshown = sum(cell.verdict is not None and not cell.verdict.shown for cell in cells)
    return f"; no difference shown on {unshown} other{'s' if unshown > 1 else ''}" if unshown else ""


def _alone(cells: Sequence[CellResult]) -> str:
    if len(cells) == 1:
        return f"{cells[0].name} clears {label(cells[0])} in {share(cells[0])}{rate_sides(cells[0])}"
    names = list(dict.fromkeys(cell.name for cell in cells))
    best = max(cells, key=lambda cell: (cell.rate.low, cell.rate.high))
    worst = min(cells, key=lambda cell: (cell.rate.high, cell.rate.low))
    who = names[0] if len(names) == 1 else "The trucks"
    if best.rate == worst.rate:
        return f"{who}: {share(best)} on each of {len(cells)} obstacles"
    surest, least = (f"{label(cell)}, {share(cell)}{rate_sides(cell)}" for cell in (best, worst))
    return f"{who}: surest on {surest}; least so on {least}"


def _several(comparison: Comparison) -> str:
    names = {cell.config: cell.name for cell in comparison.cells}
    by_gain = sorted(comparison.overall.items(), key=lambda pair: -pair[1].difference.value)
    better = [names[config] for config, found in by_gain if found.word == "better"]
    worse = [names[config] for config, found in reversed(by_gain) if found.word == "worse"]
    base = comparison.baseline.name
    if not better:
        said = f"Of {len(by_gain)} configurations none is shown to do better than {base}, all obstacles together"
    else:
        best = next(found for config, found in by_gain if names[config] == better[0])
        said = f"{better[0]} does better than {base}, all obstacles together: {points(best)}"
        said += f"; also better: {_names(better[1:])}" if len(better) > 1 else ""
    return said + (f"; worse: {_names(worse)}" if worse else "")


def _names(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= MANY else f"{', '.join(names[:MANY])} and {len(names) - MANY} more"
