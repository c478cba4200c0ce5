"""Decisions in plain sentences. The words follow from the numbers and nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.compare.sides import both
from sim.decision.effect import Effect, LineEffect
from sim.decision.judgement import UNKNOWN, Judgement
from sim.decision.obstacle_mix import Line
from sim.decision.unknowns import Prior
from sim.statistics.interval import Estimate


def amount(value: float, unit: str, signed: bool = False) -> str:
    """A level with its unit."""
    text = f"{value:+.1f}" if signed else f"{value:.1f}"
    return f"{text}°" if unit == "deg" else f"{text} {unit}"


def ranged(estimate: Estimate, unit: str = "points") -> str:
    """A difference with its interval."""
    low, high = (f"{x:+.1f}" if math.isfinite(x) else ("-∞" if x < 0 else "∞") for x in (estimate.low, estimate.high))
    return f"{amount(estimate.value, unit, True)} ({low} to {high})"


def scaled(estimate: Estimate, line: Line) -> Estimate:
    """A share as points where the line is driven at a stated level."""
    if line.level is None:
        return estimate
    return Estimate(100.0 * estimate.value, 100.0 * estimate.low, 100.0 * estimate.high)


def unit(line: Line) -> str:
    """Unit of what is found on a line."""
    return "points" if line.level is not None else line.unit


def gain_and_loss(effect: Effect) -> str:
    """Every gain and loss that is shown, each in its own unit with its interval."""
    gains = sorted((e for e in effect.by_line if e.shown > 0), key=lambda e: -e.contribution.value)
    losses = sorted((e for e in effect.by_line if e.shown < 0), key=lambda e: e.contribution.value)
    said = [f"its limit rises by {_named(gains)}" if gains else "no gain is shown on any one line",
            f"{'falls by' if gains else 'its limit falls by'} {_named(losses)}" if losses else "no loss is shown"]
    return "; ".join(said)


def _named(effects: Sequence[LineEffect]) -> str:
    return ", ".join(f"{ranged(scaled(e.shift, e.line), unit(e.line))} on {e.line.name}" for e in effects)


def verdict(found: Judgement, what: str, trials_each: float = 0.0) -> str:
    """The word, the gain in points, what is missing, and the shift of each limit."""
    return f"{word(found, f'{what} brings', 'over the mix', trials_each)}. {_capital(gain_and_loss(found.effect))}."


def word(found: Judgement, brings: str, where: str, trials_each: float = 0.0) -> str:
    """The word, the gain in points on both sides, and what is missing; without a full stop."""
    open_ = found.word == "not decided"
    said = f"{_capital(found.word)}: {brings} {ranged(found.shown)} {where}"
    said += " (luck and unknowns)" if found.both is not None else " (luck only)"
    said += by_side(found)
    if open_:
        trials = f"{found.more * trials_each:.0f} more trials ({found.more} repeats)" if trials_each else (
            f"{found.more} more repeats")
        said += f"; about {trials} should decide it"
    return said


def by_side(found: Judgement) -> str:
    """``; uphill left +3.0 (…), worse: uphill right -1.0 (…)``, points; empty where no line has sides."""
    if not found.by_side:
        return ""
    (one, first), (other, second) = found.by_side.items()
    return f"; {both((one, other), (first, second), '+.1f')}"


def hanging(found: Judgement) -> str:
    """What would be left without what it hangs on; empty where it hangs on nothing."""
    parts = []
    for line, rest in zip(found.effect.by_line, found.effect.without, strict=False):
        if line.line.name in found.hangs_on:
            parts.append(f"without {line.line.name} it would be {ranged(rest)}")
    parts += [f"with the {name} driver {gain:+.1f} points" for name, gain in found.by_driver.items()
              if f"the driver ({name})" in found.hangs_on]
    parts += [f"{side} {ranged(gain)}" for side, gain in found.by_side.items() if side in found.hangs_on]
    parts += [f"{name} makes {100.0 * share:.0f} % of what the unknowns add" for name, share in found.shares.items()
              if name in found.hangs_on]
    if UNKNOWN in found.hangs_on:
        parts.append("no single unknown stands out in so few cases; cragbench doubt looks at each")
    return f"It hangs on that: {'; '.join(parts)}." if parts else ""


def intervals(found: Judgement) -> str:
    """Both intervals by name."""
    said = f"Luck only: {ranged(found.effect.gain)}, {found.effect.n} repeats"
    if found.both is not None:
        said += f"; luck and unknowns: {ranged(found.both)}"
    if found.by_driver:
        said += "; " + ", ".join(f"{name} driver {gain:+.1f}" for name, gain in found.by_driver.items())
    return f"{said}."


def assumed(unknowns: Sequence[Prior]) -> str:
    """The priors in a line."""
    return "Unknowns (95 %): " + "; ".join(f"{one.text}{', measured' if one.measured else ''}" for one in unknowns)


def mix(lines: Sequence[Line]) -> str:
    """Lines, their ranges and weights."""
    whole = sum(line.weight for line in lines)
    return "; ".join(f"{line.range_text} {100.0 * line.weight / whole:.0f} %" for line in lines)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
