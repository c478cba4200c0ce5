"""The search: set-ups proposed, made, driven; those that might be among the best are driven again and again.

Every answer of the optimiser follows from seeds and trials alone. Trials are in the store, so a search that was stopped
is gone through again from the start without driving anything twice, and goes on where it was.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import SimError
from sim.explore.engine import Optimiser
from sim.explore.front import could_be, front
from sim.explore.proving import ProvingGround, Scores
from sim.explore.workshop import Genes, Setup, Workshop

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Effort:
    """How much is done."""

    setups: int
    """Set-ups to drive, about."""
    first: int = 2
    """Repeats of every set-up."""
    most: int = 16
    """Repeats of those that might be among the best."""
    confirm: int = 24
    """Repeats with fresh luck of those that are proposed."""
    batch: int = 20
    """Set-ups asked for at a time."""


@dataclass
class SetupSearch:
    """What is known so far."""

    workshop: Workshop
    scores: Scores
    driven: dict[Genes, Setup]
    refused: dict[str, int]
    """Reasons why set-ups could not be built, and how often."""
    seed: int

    @property
    def setups(self) -> list[Setup]:
        """Everything driven, in order."""
        return list(self.driven.values())

    def table(self) -> tuple[list[Setup], Array, Array]:
        """Set-ups with (set-ups, aims) chance and standard error; those without a valid repeat left out."""
        kept, chance, doubt = [], [], []
        for setup in self.setups:
            sample = self.scores.of(setup)
            if len(sample):
                kept.append(setup)
                chance.append(sample.mean(axis=0))
                doubt.append(spread(sample) / np.sqrt(len(sample)))
        return kept, np.array(chance), np.array(doubt)

    def front(self) -> list[Setup]:
        """The best compromises among those driven as often as any."""
        kept, chance, _ = self.table()
        repeats = np.array([len(self.scores.of(setup)) for setup in kept])
        well = np.flatnonzero(repeats == repeats.max())
        return [kept[int(well[k])] for k in front(chance[well])]


def spread(sample: Array) -> Array:
    """(aims,) standard deviation over repeats, shrunk towards that of a coin: a few equal results prove little."""
    n = len(sample)
    return np.asarray(np.sqrt((sample.var(axis=0) * n + 0.25) / (n + 1)))


def search(
    workshop: Workshop, ground: ProvingGround, effort: Effort, seed: int, *, start: Sequence[Genes] = (),
    watch: Callable[[SetupSearch], None] | None = None,
) -> SetupSearch:
    """Search until about as many set-ups are driven as asked for, or nothing new comes.

    :param workshop: What may change and its bounds.
    :param ground: Who drives.
    :param seed: Of the optimiser.
    :param start: Set-ups to look at first, besides the truck as it is and each change alone.
    :param watch: Called after every round.
    :raises SimError: The truck as it is cannot be driven.
    """
    base = workshop.build(workshop.now)
    if isinstance(base, str):
        raise SimError("the truck as it is breaks a bound", field="limits", value=base, remedy="Loosen it")
    found = SetupSearch(workshop, Scores(ground), {}, {}, seed)
    sizes = [len(d.options) for d in workshop.dimensions]
    first = list(dict.fromkeys([workshop.now, *alone(workshop), *start]))
    engine = Optimiser(sizes, len(ground.aims), seed, workshop.now, first, effort.batch)
    idle = 0
    while len(found.driven) < effort.setups and idle < 20:
        asked = engine.ask()
        if not asked:
            break
        before = len(found.driven)
        built = [workshop.build(genes) for genes in asked]
        good = [one for one in built if isinstance(one, Setup)]
        for one in built:
            if isinstance(one, str):
                found.refused[one] = found.refused.get(one, 0) + 1
        found.scores.find((one, range(effort.first)) for one in good)
        found.driven.update({one.genes: one for one in good})
        _again(found, effort, asked)
        engine.tell(*_answers(found, asked, built))
        _check_parents(found, effort, engine)
        idle = 0 if len(found.driven) > before else idle + 1
        if watch is not None:
            watch(found)
    _settle(found, effort)
    return found


def alone(workshop: Workshop) -> list[Genes]:
    """Each thing changed by itself: every drawer choice, and the ends and middle of what has an order."""
    found = []
    for k, dimension in enumerate(workshop.dimensions):
        count = len(dimension.options)
        for choice in sorted({0, count // 2, count - 1} if count > 8 else range(count)):
            if choice != dimension.now:
                genes = list(workshop.now)
                genes[k] = choice
                found.append(tuple(genes))
    return found


def _again(found: SetupSearch, effort: Effort, asked: Sequence[Genes]) -> None:
    """More repeats where it matters: of each round's set-ups the better half is driven twice as often, and so on.

    Better is who is beaten by fewer of all set-ups driven so far, and among those the one with the higher mean.
    """
    mine = [genes for genes in dict.fromkeys(asked) if genes in found.driven]
    repeats = effort.first
    while len(mine) > 1 and repeats < effort.most // 2:
        mine, repeats = _better_half(found, mine), min(2 * repeats, effort.most)
        found.scores.find((found.driven[genes], range(repeats)) for genes in mine)


def _check_parents(found: SetupSearch, effort: Effort, engine: Optimiser) -> None:
    """Parents that nobody beats are driven twice as often; luck that does not last loses them their place."""
    mine = [found.driven[genes] for genes in engine.parents() if genes in found.driven]
    mine = [one for one in mine if len(found.scores.of(one))]
    if not mine:
        return
    best = [mine[int(k)] for k in front(np.array([found.scores.chance(one) for one in mine]))]
    found.scores.find((one, range(min(2 * len(found.scores.known[one.truck.hash]), effort.most))) for one in best)
    engine.correct({one.genes: found.scores.chance(one) for one in mine})


def _better_half(found: SetupSearch, mine: Sequence[Genes]) -> list[Genes]:
    kept, chance, _ = found.table()
    rank = {}
    for one, row in zip(kept, chance, strict=True):
        beaten = int(((chance >= row).all(axis=1) & (chance > row).any(axis=1)).sum())
        rank[one.genes] = beaten, -float(row.mean()), one.genes
    known = sorted((genes for genes in mine if genes in rank), key=lambda genes: rank[genes])
    return known[: len(mine) // 2]


def _settle(found: SetupSearch, effort: Effort) -> None:
    """Drive whatever might be on the front as often as is wanted, until that no longer changes who might be."""
    while True:
        kept, chance, doubt = found.table()
        candidates = [kept[int(k)] for k in could_be(chance, doubt)]
        if len(candidates) > 40:
            order = np.argsort([-float(found.scores.chance(one).mean()) for one in candidates], kind="stable")
            candidates = [candidates[int(k)] for k in order[:40]]
        base = found.driven.get(found.workshop.now)
        candidates += [base] if base is not None else []
        short = [one for one in candidates if len(found.scores.known[one.truck.hash]) < effort.most]
        if not short:
            return
        found.scores.find((one, range(effort.most)) for one in short)


def _answers(found: SetupSearch, asked: Sequence[Genes], built: Sequence[Setup | str]) -> tuple[Array, Array]:
    aims = len(found.scores.ground.aims)
    chance, fault = np.zeros((len(asked), aims)), np.zeros(len(asked))
    for row, one in enumerate(built):
        if isinstance(one, Setup) and len(found.scores.of(one)):
            chance[row] = found.scores.chance(one)
        else:
            over = found.workshop.money(asked[row]) - found.workshop.bounds.money
            fault[row] = 1.0 + max(0.0, over) if np.isfinite(over) else 1.0
    return chance, fault
