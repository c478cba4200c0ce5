"""Evidence that may be looked at after every pair: what a bet against a fair coin has won.

Only pairs in which exactly one truck succeeds tell the two apart. If the trucks are alike, each such pair is a fair
coin. Betting against that with stakes spread evenly over all coins (a uniform mixture) gives a fortune that is a
martingale with mean one under the fair coin; by Ville's inequality it ever reaches ``1 / error`` with probability at
most ``error``, however often one looks and whenever one stops.

Sources: Ville, Étude critique de la notion de collectif (1939); Robbins, Ann. Math. Stat. 41 (1970) 1397-1409;
Ramdas et al., Stat. Sci. 38 (2023) 576-601. From memory.
"""

from __future__ import annotations

import math

from scipy.special import betaln

from sim.errors import SimError


def fortune(wins: int, losses: int) -> float:
    """What one unit staked on "the trucks differ" has become: ``2^m / ((m + 1) C(m, wins))`` for m = wins + losses."""
    if wins < 0 or losses < 0:
        raise SimError("counts cannot be negative", field="pairs", value=(wins, losses))
    log = (wins + losses) * math.log(2.0) + float(betaln(wins + 1, losses + 1))
    return math.exp(min(log, 700.0))


def anytime_p(wins: int, losses: int) -> float:
    """A p-value that stays valid whenever the trials were stopped; larger than one for a fixed number of trials."""
    return min(1.0, 1.0 / fortune(wins, losses))
