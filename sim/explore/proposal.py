"""Three set-ups worth building, step by step, proved with luck that the search never saw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sim.explore.search import Effort, SetupSearch
from sim.explore.workshop import Genes, Setup
from sim.statistics.group_sequential import wary
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
FRESH = 1_000_000
"""First repeat of the luck kept for proving: what looked best in the search was partly lucky there."""
ENOUGH = 0.7
"""Share of the best set-up's gain at which a cheaper one is looked for (assumed)."""
RESAMPLES = 2000


@dataclass(frozen=True)
class ProposalStep:
    """One purchase, weight or hole on the way."""

    name: str
    price: float
    grams: float
    drill: bool
    brings: Estimate
    """Points of success, mean of the aims, beyond what was done before it."""
    total: Estimate
    """Over the truck as it is."""


@dataclass(frozen=True)
class AimGain:
    """One aim: chance of the truck as it is, of the set-up, and the paired difference; percent and points."""

    name: str
    before: float
    after: float
    difference: Estimate


@dataclass(frozen=True)
class Proposal:
    """One set-up worth building."""

    role: str
    setup: Setup
    steps: tuple[ProposalStep, ...]
    gain: Estimate
    """Points of success, mean of the aims."""
    by_aim: tuple[AimGain, ...]
    n: int
    best_share: float
    """Share of resamples of the proving repeats in which it is the best of those proposed."""


@dataclass(frozen=True)
class Answer:
    """The whole answer."""

    search: SetupSearch
    base: Setup
    proposals: tuple[Proposal, ...]
    front: tuple[Setup, ...]
    single: tuple[Setup, Estimate] | None
    """The best single change with its gain in the proving repeats."""


def propose(found: SetupSearch, effort: Effort) -> Answer:
    """Choose three, order their steps, prove them. Errors as of the ground that drives."""
    base = found.driven[found.workshop.now]
    picked = _pick(found, base)
    orders = [(role, _order(found, setup, effort)) for role, setup in picked]
    orders = [(role, order) for role, order in orders if len(order) > 1]
    best_single = _best_single(found, base)
    fresh = range(FRESH, FRESH + effort.confirm)
    prove = {one.genes: one for _, order in orders for one in order} | {base.genes: base}
    if best_single is not None:
        prove[best_single.genes] = best_single
    found.scores.find((one, fresh) for one in prove.values())
    questions = max(1, sum(len(order) for _, order in orders))
    level = 0.05 / questions
    shares = _best_shares(found, [order[-1] for _, order in orders], base, fresh, found.seed)
    made = tuple(_proposal(found, role, order, base, fresh, level, share)
                 for (role, order), share in zip(orders, shares, strict=True))
    single = None
    if best_single is not None:
        single = best_single, _points(found.scores.difference(best_single, base, fresh).mean(axis=1), level)
    return Answer(found, base, made, tuple(found.front()), single)


def _pick(found: SetupSearch, base: Setup) -> list[tuple[str, Setup]]:
    """The best all round, the cheapest that is nearly as good, and the one that is best where it gains least."""
    best = [one for one in found.front() if one.genes != base.genes]
    if not best:
        return []
    gain = {one.genes: found.scores.difference(one, base).mean(axis=0) for one in best}
    top = max(best, key=lambda one: float(gain[one.genes].mean()))
    chosen = [("best all round", top)]

    def rest() -> list[Setup]:
        taken = {one.genes for _, one in chosen}
        return [one for one in best if one.genes not in taken]

    most = float(gain[top.genes].mean())
    nearly = [one for one in found.setups if one.genes not in {base.genes, top.genes} and one.money < top.money
              and len(found.scores.of(one)) >= 2
              and float(found.scores.difference(one, base).mean()) >= ENOUGH * most]
    if most > 0.0 and nearly:
        chosen.append(("nearly as good for less money", min(nearly, key=lambda one: (one.money, -float(
            found.scores.difference(one, base).mean())))))
    if rest():
        chosen.append(("evenest over the aims", max(rest(), key=lambda one: float(gain[one.genes].min()))))
    if len(chosen) < 3 and rest():
        chosen.append(("second best all round", max(rest(), key=lambda one: float(gain[one.genes].mean()))))
    return chosen


def _order(found: SetupSearch, setup: Setup, effort: Effort) -> list[Setup]:
    """From the truck as it is to the set-up: each step the most gain for its money, free ones that help first.

    Ends where going on brings nothing more: the rest of the set-up was not worth having.
    """
    shop, base = found.workshop, found.driven[found.workshop.now]
    path, here = [base], shop.now
    while here != setup.genes:
        built = [one for one in map(shop.build, _onwards(here, setup.genes)) if isinstance(one, Setup)]
        if not built:  # only together can they be on the truck
            built = [setup]
        found.scores.find((one, range(effort.most)) for one in built)
        before = float(found.scores.difference(path[-1], base).mean()) if len(path) > 1 else 0.0
        spent = path[-1].money

        def rate(one: Setup, before: float = before, spent: float = spent) -> tuple[int, float]:
            gain = float(found.scores.difference(one, base).mean()) - before
            price = one.money - spent
            if price <= 0.0:
                return (2, gain) if gain > 0.0 else (0, gain)
            return (1, gain / price)

        following = max(built, key=rate)
        path.append(following)
        here = following.genes
    totals = [0.0, *(float(found.scores.difference(one, base).mean()) for one in path[1:])]
    return path[: int(np.argmax(totals)) + 1]


def _onwards(here: Genes, there: Genes) -> list[Genes]:
    return [(*here[:k], there[k], *here[k + 1 :]) for k in range(len(here)) if here[k] != there[k]]


def _best_single(found: SetupSearch, base: Setup) -> Setup | None:
    """The best set-up that changes one thing only."""
    alone = [one for one in found.setups if sum(a != b for a, b in zip(one.genes, base.genes, strict=True)) == 1
             and len(found.scores.of(one))]
    return max(alone, key=lambda one: float(found.scores.difference(one, base).mean()), default=None)


def _points(sample: Array, level: float) -> Estimate:
    raw = wary(100.0 * sample, level)
    return Estimate(raw.value, max(raw.low, -100.0), min(raw.high, 100.0))


def _proposal(
    found: SetupSearch, role: str, order: Sequence[Setup], base: Setup, fresh: range, level: float, share: float
) -> Proposal:
    last, scores = order[-1], found.scores
    steps = []
    for before, after in pairwise(order):
        changed = [k for k, (a, b) in enumerate(zip(before.genes, after.genes, strict=True)) if a != b]
        dimensions = found.workshop.dimensions
        names = " + ".join(dimensions[k].options[after.genes[k]].label for k in changed)
        drill = any((moved := dimensions[k].moved) is not None and moved.drill for k in changed)
        steps.append(ProposalStep(names, after.money - before.money, after.grams - before.grams, drill,
                          _points(scores.difference(after, before, fresh).mean(axis=1), level),
                          _points(scores.difference(after, base, fresh).mean(axis=1), level)))
    difference = scores.difference(last, base, fresh)
    aims = found.scores.ground.aims
    was, now = scores.of(base, fresh).mean(axis=0), scores.of(last, fresh).mean(axis=0)
    by_aim = tuple(AimGain(aim.text, 100.0 * float(was[k]), 100.0 * float(now[k]),
                           _points(difference[:, k], level / len(aims))) for k, aim in enumerate(aims))
    return Proposal(role, last, tuple(steps), _points(difference.mean(axis=1), level), by_aim, len(difference), share)


def _best_shares(found: SetupSearch, setups: Sequence[Setup], base: Setup, fresh: range, seed: int) -> list[float]:
    if not setups:
        return []
    samples = [found.scores.difference(one, base, fresh).mean(axis=1) for one in setups]
    n = min(len(sample) for sample in samples)
    if n == 0:
        return [float("nan")] * len(setups)
    table = np.array([sample[:n] for sample in samples])
    rng = np.random.default_rng(seed)
    means = table[:, rng.integers(0, n, size=(RESAMPLES, n))].mean(axis=2)
    best = np.argmax(means + 1e-12 * rng.random(means.shape), axis=0)
    return [float(np.mean(best == k)) for k in range(len(setups))]
