"""Stopping early without fooling oneself: when a pair of trucks needs no more trials."""

from __future__ import annotations

from typing import Literal

from sim.errors import SimError
from sim.statistics.e_value import fortune
from sim.statistics.paired import PairTable

Decision = Literal["better", "worse", "open", "hopeless"]


def decide(table: PairTable, error: float, pairs_left: int) -> Decision:
    """Whether to go on with a pair of trucks.

    :param table: Pairs so far.
    :param error: Chance of calling a difference between trucks that are alike, over the whole run.
    :param pairs_left: How many more pairs could be run.
    :returns: ``better`` or ``worse`` for the changed truck; ``hopeless`` if not even an unbroken row of wins in the
        pairs left could decide it (stopping then adds no error); else ``open``.
    """
    if not 0 < error < 1:
        raise SimError("the error must lie between 0 and 1", field="error", value=error)
    wins, losses = table.changed_only, table.baseline_only
    if fortune(wins, losses) >= 1.0 / error:
        return "better" if wins > losses else "worse"
    ahead, behind = max(wins, losses), min(wins, losses)
    if fortune(ahead + pairs_left, behind) < 1.0 / error:
        return "hopeless"
    return "open"
