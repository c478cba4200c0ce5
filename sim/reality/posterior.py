"""Grip and driver skill from attempts: an exact posterior on a grid, with what it says of lines not yet driven.

For a try on a line, ``log odds = simulated log odds at the true grip + skill + line``. Grip is a factor on the sheet's,
one per surface; skill is how much better or worse than the simulated driver a person is, in log odds (0.7 doubles
them); ``line`` is what makes this rock unlike its ideal, normal with a spread of its own, so that thirty tries on one
line do not count as thirty lines. Priors: grip log-normal by 15 % (days differ by 10 to 20 %; common practice, no
source), skill normal by 1, spread half-normal by 0.7.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit, logsumexp

from models.vector import Vector
from sim.reality.observed import Tried
from sim.reality.response import Response

GRIP_DOUBT, SKILL_DOUBT, SPREAD_DOUBT = 0.15, 1.0, 0.7
N_GRIP, N_SKILL = 61, 61
SPREADS = np.array([0.0, 0.25, 0.5, 0.8, 1.2, 1.8])
_REACH = 3.5
"""Standard deviations of the prior that the grid covers."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(11)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
EDGE_LIMIT = 0.01


@dataclass(frozen=True)
class Marginal:
    """One unknown after the attempts."""

    grid: Vector
    weight: Vector
    """Sums to one."""
    prior: Vector

    @property
    def mean(self) -> float:
        """Posterior mean."""
        return float(self.weight @ self.grid)

    @property
    def spread(self) -> float:
        """Posterior standard deviation."""
        return math.sqrt(float(self.weight @ (self.grid - self.mean) ** 2))

    @property
    def prior_spread(self) -> float:
        """Prior standard deviation on the same grid."""
        middle = float(self.prior @ self.grid)
        return math.sqrt(float(self.prior @ (self.grid - middle) ** 2))

    @property
    def learned(self) -> float:
        """Share of the prior's variance that the attempts took away, 0 to 1."""
        return max(0.0, 1.0 - (self.spread / self.prior_spread) ** 2)

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Central interval, straight between grid points."""
        total = np.cumsum(self.weight) - 0.5 * self.weight
        tail = 0.5 * (1.0 - confidence)
        return float(np.interp(tail, total, self.grid)), float(np.interp(1.0 - tail, total, self.grid))

    @property
    def edge(self) -> float:
        """Weight on the grid's two ends: more than a percent means that it is too narrow."""
        return float(self.weight[0] + self.weight[-1])


class Posterior:
    """The grid, kept by line, so that a line can be left out without starting again."""

    def __init__(self, cells: Sequence[Tried], responses: Sequence[Response], n: tuple[int, int] = (N_GRIP, N_SKILL)):
        """Work out the likelihood of every line on the grid.

        :param responses: simulated success over grip of each cell.
        """
        self.cells, self.responses = list(cells), list(responses)
        self.log_grip = np.linspace(-_REACH, _REACH, n[0]) * GRIP_DOUBT
        self.skill = np.linspace(-_REACH, _REACH, n[1]) * SKILL_DOUBT
        self.surfaces = sorted({cell.surface for cell in self.cells})
        self.lines = list(dict.fromkeys(cell.line for cell in self.cells))
        self._prior_grip = _normal(self.log_grip, GRIP_DOUBT)
        self._prior_skill = _normal(self.skill, SKILL_DOUBT)
        # Half-normal, the grid's cells as wide as they are.
        self._prior_spread = _log(np.exp(-0.5 * (SPREADS / SPREAD_DOUBT) ** 2) * np.gradient(SPREADS))
        self._odds = [r.odds(np.exp(self.log_grip)) for r in self.responses]
        self._line = {line: self._likelihood(line) for line in self.lines}
        self._of_surface = {line: next(c.surface for c in self.cells if c.line == line) for line in self.lines}

    def _likelihood(self, line: str) -> Vector:
        """Log likelihood (grip, skill, spread) of all tries on a line, its oddity integrated out (Gauss-Hermite)."""
        return np.asarray(logsumexp(self._of_tries(line), axis=3, b=_WEIGHTS))

    def _of_tries(self, line: str) -> Vector:
        """Log likelihood (grip, skill, spread, oddity) of all tries on a line."""
        total = np.zeros((len(self.log_grip), len(self.skill), len(SPREADS), len(_NODES)))
        for cell, odds in zip(self.cells, self._odds, strict=True):
            if cell.line == line:
                eta = self._eta(odds)
                total += cell.successes * eta - cell.tries * np.logaddexp(0.0, eta)
        return total

    def _eta(self, odds: Vector) -> Vector:
        return np.asarray(
            odds[:, None, None, None] + self.skill[None, :, None, None]
            + SPREADS[None, None, :, None] * _NODES[None, None, None, :]
        )  # fmt: skip

    def _by_surface(self, without: str | None) -> dict[str, Vector]:
        """Log likelihood plus grip prior of every surface, (grip, skill, spread)."""
        found = {}
        for surface in self.surfaces:
            some = [self._line[line] for line in self.lines if self._of_surface[line] == surface and line != without]
            found[surface] = self._prior_grip[:, None, None] + (sum(some) if some else np.zeros((1, 1, 1)))
            found[surface] = np.broadcast_to(found[surface], (len(self.log_grip), len(self.skill), len(SPREADS)))
        return found

    def _weights(self, surface: str, without: str | None = None) -> Vector:
        """Joint posterior weight of one surface's grip, skill and spread; other surfaces summed out."""
        by_surface = self._by_surface(without)
        log = by_surface[surface] + self._prior_skill[None, :, None] + self._prior_spread[None, None, :]
        for other, likelihood in by_surface.items():
            if other != surface:
                log = log + logsumexp(likelihood, axis=0)[None]
        return np.asarray(np.exp(log - logsumexp(log)))

    @cached_property
    def grip(self) -> dict[str, Marginal]:
        """Grip factor (as its logarithm) of every surface."""
        prior = np.exp(self._prior_grip)
        return {s: Marginal(self.log_grip, self._weights(s).sum(axis=(1, 2)), prior) for s in self.surfaces}

    @cached_property
    def driver(self) -> Marginal:
        """Skill, log odds."""
        return Marginal(self.skill, self._weights(self.surfaces[0]).sum(axis=(0, 2)), np.exp(self._prior_skill))

    @cached_property
    def spread(self) -> Marginal:
        """How unlike their ideal the lines are, log odds."""
        return Marginal(SPREADS, self._weights(self.surfaces[0]).sum(axis=(0, 1)), np.exp(self._prior_spread))

    def joint(self, surface: str) -> Vector:
        """Weight over (grip, skill) of one surface."""
        return np.asarray(self._weights(surface).sum(axis=2))

    def foretell(self, cell: int, without_line: bool) -> tuple[float, float, float]:
        """Mean and 95 % interval of the success rate of a cell on a line never seen, from the other lines or from all.

        The line's own oddity is not known in either case: this is for a line like it.
        """
        tried = self.cells[cell]
        weights = self._weights(tried.surface, tried.line if without_line else None)
        return _summary(expit(self._eta(self._odds[cell])), weights[..., None] * _WEIGHTS)

    def settled(self, cell: int) -> tuple[float, float, float]:
        """Mean and 95 % interval of the success rate of a cell on its own line, its tries taken into account."""
        tried = self.cells[cell]
        weights = self._weights(tried.surface)
        total = self._of_tries(tried.line)
        inner = np.exp(total - total.max(axis=3, keepdims=True)) * _WEIGHTS
        inner /= inner.sum(axis=3, keepdims=True)
        return _summary(expit(self._eta(self._odds[cell])), weights[..., None] * inner)

    def tail(self, cell: int) -> float:
        """How surprising the count on a cell is to the other lines: two-sided, 0 to 1."""
        tried = self.cells[cell]
        weights = self._weights(tried.surface, tried.line)[..., None] * _WEIGHTS
        eta = self._eta(self._odds[cell])
        counts = np.arange(tried.tries + 1)
        log_ways = np.array([math.lgamma(tried.tries + 1) - math.lgamma(k + 1) - math.lgamma(tried.tries - k + 1)
                             for k in counts])  # fmt: skip
        chance = np.array([
            float(np.sum(weights * np.exp(w + k * eta - tried.tries * np.logaddexp(0.0, eta))))
            for k, w in zip(counts, log_ways, strict=True)
        ])  # fmt: skip
        below, above = chance[: tried.successes + 1].sum(), chance[tried.successes :].sum()
        return float(min(1.0, 2.0 * min(below, above)))

    def faults(self) -> list[str]:
        """What a check of the grid itself finds: weight at its ends, or means that change on a coarser grid."""
        said = []
        named = [*((f"grip on {s}", m) for s, m in self.grip.items()), ("skill", self.driver)]
        for name, marginal in named:
            if marginal.edge > EDGE_LIMIT:
                said.append(f"{name} runs into the end of its grid ({100 * marginal.edge:.0f} % there)")
        coarse = Posterior(self.cells, self.responses, (len(self.log_grip) // 2 + 1, len(self.skill) // 2 + 1))
        again = [*(coarse.grip[s] for s in self.surfaces), coarse.driver]
        for (name, fine), rough in zip(named, again, strict=True):
            if abs(fine.mean - rough.mean) > 0.1 * fine.spread:
                said.append(f"{name} changes on a coarser grid")
        return said


def _normal(grid: Vector, spread: float) -> Vector:
    return _log(np.exp(-0.5 * (grid / spread) ** 2))


def _log(weights: Vector) -> Vector:
    return np.asarray(np.log(weights / weights.sum()))


def _summary(chance: Vector, weights: Vector) -> tuple[float, float, float]:
    flat, w = chance.ravel(), np.broadcast_to(weights, chance.shape).ravel()
    order = np.argsort(flat)
    total = np.cumsum(w[order])
    total /= total[-1]
    low, high = np.interp([0.025, 0.975], total, flat[order])
    return float(flat @ w / w.sum()), float(low), float(high)
