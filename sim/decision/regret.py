"""What being wrong costs: expected regret of doing something and of leaving it, in points, money and holes.

Source: Raiffa & Schlaifer, Applied Statistical Decision Theory (1961). From memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
_GRID = ndtri((np.arange(4096) + 0.5) / 4096)
"""Standard normal, evenly by probability."""


@dataclass(frozen=True)
class Regret:
    """Points lost on average by doing it where it harms, and given away by leaving it where it helps."""

    doing: float
    leaving: float
    above: float
    """Chance of more than the least gain worth having."""
    least: float
    expected: float
    beyond: float
    """Points above the least worth having that are given away on average by leaving it."""

    @staticmethod
    def of(gains: Array, least: float) -> Regret:
        """From draws (n,) of the gain, points."""
        return Regret(float(np.mean(np.maximum(-gains, 0.0))), float(np.mean(np.maximum(gains, 0.0))),
                      float(np.mean(gains > least)), least, float(gains.mean()),
                      float(np.mean(np.maximum(gains - least, 0.0))))

    @staticmethod
    def within(estimate: Estimate, least: float, level: float = 0.05) -> Regret:
        """From an interval of that two-sided level: normal, each side as wide as the interval's."""
        edge = float(ndtri(1.0 - 0.5 * level))
        down, up = (estimate.value - estimate.low) / edge, (estimate.high - estimate.value) / edge
        return Regret.of(np.asarray(estimate.value + _GRID * np.where(_GRID < 0.0, down, up)), least)

    def text(self, price: float | None = None, currency: str = "", holes: int = 0) -> str:
        """As a sentence.

        Money for leaving it: whoever pays the price for the least gain worth having values a point at their quotient.

        :param price: Of doing it; left out, money is not spoken of.
        :param holes: To drill for it; 0 for none or not known.
        """
        wrong = 1.0 - self.above
        doing, leaving = [f"{self.doing:.2f} points"], [f"{self.leaving:.2f} points"]
        if price:
            doing.append(f"{wrong * price:.2f} of {price:g} {currency} in vain".replace("  ", " "))
            if self.least > 0.0:
                point = price / self.least
                forgone = f"{float(f'{self.beyond * point:.3g}'):g} {currency} of gain forgone"
                counted = f"a point counted at {point:.3g} {currency}".rstrip()
                leaving.append(f"{forgone} ({counted})".replace("  ", " "))
        if holes:
            doing.append(f"{wrong * holes:.1f} of {holes} hole{'s' if holes > 1 else ''} in vain")
            leaving.append("no holes")
        return (f"Chance of more than {self.least:g} points: {100.0 * self.above:.0f} %; expected gain "
                f"{self.expected:+.1f} points. Expected regret of doing it: {', '.join(doing)}; of leaving it: "
                f"{', '.join(leaving)}.")
