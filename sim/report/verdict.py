"""The page's question, and the sentence that answers it."""

from __future__ import annotations

from collections.abc import Sequence

from sim.chart.value import ValueMark, cost
from sim.compare.comparison import Comparison
from sim.compare.sentences import about, finding
from sim.report.truck_card import TruckCard


def question(cards: Sequence[TruckCard]) -> str:
    """What the trucks were compared for."""
    others = len(cards) - 1
    if others == 0:
        return f"How far does {cards[0].name} get?"
    if others == 1:
        return f"Does {cards[1].name} do better than {cards[0].name}?"
    return f"Which of {others} changes does better than {cards[0].name}?"


def answer(comparison: Comparison) -> str:
    """The sentence that the terminal says too."""
    return sentence(finding(comparison))


def sentence(text: str) -> str:
    """Text with a capital and a full stop."""
    return text[:1].upper() + text[1:] + "."


def balance(comparison: Comparison, gain: ValueMark) -> str:
    """What a configuration brings and what it costs, in one sentence."""
    return sentence(f"{about(comparison, gain.name)}; it {cost(gain)}")
