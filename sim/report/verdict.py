"""The page's first sentence: which truck did best, by how much, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

from sim.compare.comparison import Comparison
from sim.compare.sentences import finding
from sim.report.truck_card import TruckCard


def question(cards: Sequence[TruckCard]) -> str:
    """What the trucks were compared for."""
    others = len(cards) - 1
    if others == 0:
        return f"How far does {cards[0].name} get?"
    if others == 1:
        return f"Does {cards[1].name} do better than {cards[0].name}?"
    return f"Which of {others} changes does better than {cards[0].name}?"


def answer(comparison: Comparison, cards: Sequence[TruckCard]) -> str:
    """One sentence; a winner is named only where its interval over all obstacles leaves out zero."""
    judged = [card for card in cards if card.pooled is not None and card.pooled.table.pairs]
    if len(judged) < 2:
        return sentence(finding(comparison))
    better = sorted((c for c in judged if _word(c) == "better"), key=lambda c: -_gain(c))
    worse = [c for c in judged if _word(c) == "worse"]
    base = comparison.baseline.name
    if not better:
        text = f"No change is shown to do better than {base}, all obstacles together"
        return sentence(text + (f"; worse: {_names(worse)}" if worse else ""))
    best = better[0]
    assert best.pooled is not None
    d = best.pooled.difference
    text = (
        f"{best.name} does better than {base}: {100 * d.value:+.0f} points of success over all obstacles together "
        f"(95 % interval {100 * d.low:+.0f} to {100 * d.high:+.0f})"
    )
    if len(better) > 1:
        text += f"; also better: {_names(better[1:])}"
    return sentence(text + (f"; worse: {_names(worse)}" if worse else ""))


def by_luck(comparison: Comparison) -> float:
    """How many of the page's comparisons would be called different by luck alone, at 95 %."""
    return 0.05 * sum(cell.verdict is not None for cell in comparison.cells)


def sentence(text: str) -> str:
    """Text with a capital and a full stop."""
    return text[:1].upper() + text[1:] + "."


def _word(card: TruckCard) -> str:
    return card.pooled.word if card.pooled else ""


def _gain(card: TruckCard) -> float:
    return card.pooled.difference.value if card.pooled else 0.0


def _names(cards: Sequence[TruckCard]) -> str:
    names = [card.name for card in cards]
    return ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"
