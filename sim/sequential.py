"""Stopping early without fooling oneself: a test of paired trials that may be looked at after every pair.

Only pairs in which exactly one truck succeeds tell the two apart. If the trucks are alike, each such pair is a fair
coin. Betting against that with stakes spread evenly over all coins (a uniform mixture) gives a fortune that is a
martingale with mean one under the fair coin; by Ville's inequality it ever reaches ``1 / error`` with probability at
most ``error``, however often one looks and whenever one stops.

Sources: Ville, Étude critique de la notion de collectif (1939); Robbins, Ann. Math. Stat. 41 (1970) 1397-1409;
Ramdas et al., Stat. Sci. 38 (2023) 576-601. From memory.
"""

from __future__ import annotations

import math
from typing import Literal

from scipy.special import betaln

from sim.errors import SimError
from sim.paired import PairTable

Decision = Literal["better", "worse", "open", "hopeless"]


def fortune(wins: int, losses: int) -> float:
    """What one unit staked on "the trucks differ" has become: ``2^m / ((m + 1) C(m, wins))`` for m = wins + losses."""
    if wins < 0 or losses < 0:
        raise SimError("counts cannot be negative", field="pairs", value=(wins, losses))
    log = (wins + losses) * math.log(2.0) + float(betaln(wins + 1, losses + 1))
    return math.exp(min(log, 700.0))


def anytime_p(table: PairTable) -> float:
    """A p-value that stays valid whenever the trials were stopped; larger than one for a fixed number of trials."""
    return min(1.0, 1.0 / fortune(table.changed_only, table.baseline_only))


def decide(table: PairTable, error: float, pairs_left: int) -> Decision:
    """Whether to go on with a pair of trucks.

    Args:
        table: Pairs so far.
        error: Chance of calling a difference between trucks that are alike, over the whole run.
        pairs_left: How many more pairs could be run.

    Returns:
        ``better`` or ``worse`` for the changed truck; ``hopeless`` if not even an unbroken row of wins in the pairs
        left could decide it (stopping then adds no error); else ``open``.
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
