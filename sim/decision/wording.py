"""Decisions in plain sentences. The words follow the intervals and nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.decision.effect import Effect, LineEffect
from sim.decision.obstacle_mix import Line
from sim.statistics.interval import Estimate


def amount(value: float, unit: str, signed: bool = False) -> str:
    """A level with its unit."""
    text = f"{value:+.1f}" if signed else f"{value:.1f}"
    return f"{text}°" if unit == "deg" else f"{text} {unit}"


def ranged(estimate: Estimate, unit: str) -> str:
    """A difference with its interval."""
    low, high = (f"{x:+.1f}" if math.isfinite(x) else ("-∞" if x < 0 else "∞") for x in (estimate.low, estimate.high))
    return f"{amount(estimate.value, unit, True)} ({low} to {high})"


def percent(estimate: Estimate, stated: bool = False) -> str:
    """A score with its interval."""
    low, high = (f"{x:+.0f}" if abs(x) < 10_000 else ("-∞" if x < 0 else "∞") for x in (estimate.low, estimate.high))
    return f"{estimate.value:+.0f} {'points' if stated else '%'} ({low} to {high})"


def scaled(estimate: Estimate, line: Line) -> Estimate:
    """A share as points where the line is driven at a stated level."""
    if line.level is None:
        return estimate
    return Estimate(100.0 * estimate.value, 100.0 * estimate.low, 100.0 * estimate.high)


def unit(line: Line) -> str:
    """Unit of what is found on a line."""
    return "points" if line.level is not None else line.unit


def gain_and_loss(effect: Effect) -> str:
    """Largest gain and largest loss that are shown, each with its interval."""
    gains = sorted((e for e in effect.by_line if e.shown > 0), key=_relative, reverse=True)
    losses = sorted((e for e in effect.by_line if e.shown < 0), key=_relative)
    said = [f"it gains {_named(gains)}" if gains else "no gain is shown on any one line",
            f"it loses {_named(losses)}" if losses else "no loss is shown"]
    return "; ".join(said)


def _relative(one: LineEffect) -> float:
    return one.difference.value / max(abs(one.base.value), 1e-9)


def _named(effects: Sequence[LineEffect]) -> str:
    return ", ".join(f"{ranged(scaled(e.difference, e.line), unit(e.line))} on {e.line.name}" for e in effects)


def verdict(effect: Effect, what: str, stated: bool) -> str:
    """One sentence: the word, the score, the gain and the loss, and what is missing."""
    score = percent(effect.score, stated)
    over = "points of success over the mix" if stated else "over the mix"
    sentence = {
        "worth it": f"Worth it: {what} brings {score} {over}",
        "not worth it": f"Not worth it: {what} brings {score} {over}",
        "not shown": f"Not shown: {what} brings {score} {over}; about {effect.more} more repeats should decide it",
    }[effect.word]
    return f"{sentence.replace('points (', '(') if stated else sentence}. {_capital(gain_and_loss(effect))}."


def cost_of_error(effect: Effect, stated: bool) -> str:
    """What acting on the verdict costs if the truth lies at the wrong end of the 95 % intervals."""
    low, high = (f"{x:+.0f} {'points' if stated else '%'}" for x in (effect.score.low, effect.score.high))
    worst = min(effect.by_line, key=lambda e: e.difference.low / max(abs(e.base.value), 1e-9))
    lost = ""
    if worst.difference.low < 0.0:
        loss = scaled(worst.difference, worst.line).low
        lost = f", and {amount(loss, unit(worst.line), True)} on {worst.line.name}"
    return "Cost of being wrong (95 %): " + {
        "worth it": f"done, it may bring as little as {low}{lost}",
        "not worth it": f"left as it is, at most {high} over the mix is given away",
        "not shown": f"done, it may bring {low}{lost}; left as it is, {high} may be given away",
    }[effect.word] + "."


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
