"""What each player brings to a common gain: Shapley values, exact or from sampled orders.

Source: Shapley, A value for n-person games, in Contributions to the Theory of Games II (1953) 307-317; sampling of
orders: Castro, Gómez & Tejada, Comput. Oper. Res. 36 (2009) 1726-1730.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
EXACT_UP_TO = 6
"""Players with whom every coalition is played; beyond, orders are sampled."""


def weights(players: int) -> Array:
    """(players, 2^players) matrix that turns the values of all coalitions into Shapley values.

    Coalition ``S`` has the number whose bit k is player k. Player i gets ``s! (n - s - 1)! / n!`` of every
    ``v(S + i) - v(S)`` with s the size of S.
    """
    n, count = players, 1 << players
    found = np.zeros((n, count))
    share = [math.factorial(s) * math.factorial(n - s - 1) / math.factorial(n) for s in range(n)]
    for mask in range(count):
        size = mask.bit_count()
        for i in range(n):
            if not mask >> i & 1:
                found[i, mask] -= share[size]
                found[i, mask | 1 << i] += share[size]
    return found


def exact(values: ArrayLike) -> Array:
    """Shapley values from the values of all coalitions, (2^n,) or (2^n, repeats), in the order of their numbers."""
    v = np.asarray(values, dtype=float)
    players = int(len(v)).bit_length() - 1
    return np.asarray(weights(players) @ v)


def orders(players: int, count: int, seed: int = 0) -> list[tuple[int, ...]]:
    """Random orders of the players in pairs of an order and its reverse, which halves the work for the same error."""
    rng = np.random.default_rng(seed)
    found: list[tuple[int, ...]] = []
    while len(found) < count:
        order = tuple(int(k) for k in rng.permutation(players))
        found += [order, order[::-1]]
    return found[:count]


def visited(chosen: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """Coalitions that are met while the players come in by these orders, each once, ascending."""
    seen = {0}
    for order in chosen:
        mask = 0
        for player in order:
            mask |= 1 << player
            seen.add(mask)
    return tuple(sorted(seen))


def sampled(value: Callable[[int], Array], chosen: Sequence[Sequence[int]]) -> tuple[Array, Array]:
    """Shapley values from sampled orders.

    :param value: (repeats,) values of a coalition.
    :param chosen: Orders, from :func:`orders`.
    :returns: (players, repeats) estimates, and (players,) the standard error that comes from having sampled orders.
    """
    players = len(chosen[0])
    marginal = []
    for order in chosen:
        mask, before = 0, value(0)
        gains = np.empty((players, len(before)))
        for player in order:
            mask |= 1 << player
            now = value(mask)
            gains[player] = now - before
            before = now
        marginal.append(gains)
    stacked = np.stack(marginal)
    # An order and its reverse go together: their mean is one draw.
    means = stacked.mean(axis=2)
    pairs = means[: len(means) // 2 * 2].reshape(-1, 2, players).mean(axis=1)
    error = pairs.std(axis=0, ddof=1) / math.sqrt(len(pairs)) if len(pairs) > 1 else np.full(players, np.nan)
    return stacked.mean(axis=0), np.asarray(error)
