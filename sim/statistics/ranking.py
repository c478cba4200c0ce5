"""Who is first, and how sure that is: places of configurations over all obstacles, by resampling the luck.

Repeats are drawn again with replacement (the same ones for all trucks, so that pairs stay pairs), the trucks are
ranked by their mean success over the obstacles each time, ties at random, and the spread of a truck's place is
reported. So that a run of nothing but successes is not taken for certainty, one made-up repeat is mixed in that each
truck clears or fails by a coin of its own.

Source: Goldstein & Spiegelhalter, J. R. Stat. Soc. A 159 (1996) 385-443; Efron & Tibshirani, An Introduction to the
Bootstrap (1993), ch. 6.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
RESAMPLES = 4000
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True)
class RankedPlace:
    """One configuration's place."""

    name: str
    mean: float
    """Mean success rate over the obstacles, 0 to 1."""
    best: int
    """Best and worst place that 95 % of the resamples leave open; 1 is first."""
    worst: int
    first: float
    """Share of resamples in which it comes first."""

    @property
    def words(self) -> str:
        """``second``, ``second or third``, ``second to fifth``."""
        if self.best == self.worst:
            return ordinal(self.best)
        return f"{ordinal(self.best)} {'or' if self.worst == self.best + 1 else 'to'} {ordinal(self.worst)}"


def ordinal(place: int) -> str:
    """A place in words; 1 is first."""
    return ORDINALS[place - 1] if place <= len(ORDINALS) else f"{place}th"


def ranking(
    success: Mapping[str, Sequence[ArrayLike]], confidence: float = 0.95, seed: int = 0
) -> tuple[RankedPlace, ...]:
    """Rank configurations.

    :param success: Per configuration, per obstacle, (repeats,) ones and zeros; repeats of one obstacle are the same
        luck for every configuration.
    :param confidence: Of the range of places.
    :param seed: Of the resampling: same trials, same places.
    :returns: The best mean first.
    """
    names = list(success)
    obstacles = [np.array([np.asarray(success[name][k], dtype=float) for name in names])
                 for k in range(len(success[names[0]]))]
    means = np.mean([rates.mean(axis=1) for rates in obstacles], axis=0)
    rng = np.random.default_rng(seed)
    drawn = np.zeros((RESAMPLES, len(names)))
    for rates in obstacles:
        n = rates.shape[1]
        count = rng.multinomial(n, np.full(n, 1.0 / n), size=RESAMPLES)
        coin = rng.integers(0, 2, (RESAMPLES, len(names)))
        drawn += (count @ rates.T + coin) / (n + 1)
    drawn += 1e-9 * rng.random(drawn.shape)
    order = np.argsort(-drawn, axis=1, kind="stable")
    places = np.empty_like(order)
    np.put_along_axis(places, order, np.arange(1, len(names) + 1)[None, :], axis=1)
    tail = 100.0 * (1.0 - confidence) / 2.0
    low, high = np.percentile(places, [tail, 100.0 - tail], axis=0, method="inverted_cdf")
    found = [RankedPlace(name, float(means[k]), int(low[k]), int(high[k]), float(np.mean(places[:, k] == 1)))
             for k, name in enumerate(names)]
    return tuple(sorted(found, key=lambda place: (-place.mean, place.best, place.name)))


def sentence(places: Sequence[RankedPlace]) -> str:
    """The whole ranking; empty for fewer than two."""
    if len(places) < 2:
        return ""
    return "Ranking over all obstacles (95 % of places): " + "; ".join(f"{p.name} {p.words}" for p in places) + "."
