"""Moving a part: what it does at every position, before anything is drilled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.decision.cases import Cases
from sim.decision.effect import LEAST_WORTH, Effect, PairedLimits, effect, enough, paired
from sim.decision.judgement import Judgement, judge, on_sides, plain
from sim.decision.obstacle_mix import Line
from sim.decision.part_move import PartMove, Static, static_sweep
from sim.decision.runner import Field
from sim.statistics import group_sequential
from sim.trial.truck import Truck


@dataclass(frozen=True)
class ShiftAnswer:
    """Everything the sweep shows."""

    move: PartMove
    lines: tuple[Line, ...]
    statics: tuple[Static, ...]
    positions: tuple[float, ...]
    """Driven: the present one first."""
    found: PairedLimits
    effects: tuple[Effect, ...]
    """Of every driven position but the first, luck alone left open."""
    best: int
    """Index into ``effects``."""
    judgement: Judgement
    """On the best driven position."""
    likely_best: float
    """Position at which a curve through the driven ones is highest, within what is free."""

    @property
    def position(self) -> float:
        """The best driven position other than the present one."""
        return self.positions[1 + self.best]


def investigate(
    move: PartMove, field: Field, lines: tuple[Line, ...], trucks: Sequence[Truck], *, most: int,
    least: float = LEAST_WORTH, cases: Cases | None = None,
) -> ShiftAnswer:
    """Drive the present position and the targets until luck leaves the best of them decided, or ``most`` repeats are
    done; then the best one again with what is not known drawn from its priors.

    :param trucks: The present one and those of the targets, in order.
    :param cases: What is not known; left out, luck alone counts.
    """
    hashes = [truck.hash for truck in trucks]
    sizes = group_sequential.looks(most)
    level = group_sequential.level(sizes, len(move.targets))
    effects: list[Effect] = []
    for n in sizes:
        field.find(hashes, range(n))
        found = enough(paired(field.searches, lines, hashes, range(n)))
        effects = [effect(found, truck, level) for truck in hashes[1:]]
        best = max(range(len(effects)), key=lambda k: effects[k].gain.value)
        if plain(effects[best].gain, least) != "not decided":
            break
    spread = None
    if cases is not None:
        # The interval with the unknowns holds that of luck: what luck leaves open they cannot close. Then half of the
        # cases will do for its width. Luck alone says how many, so that no value of the unknowns picks itself.
        open_ = plain(effects[best].gain, least) == "not decided"
        spread = cases.spread(field, lines, hashes[0], hashes[1 + best], cases.half() if open_ else None)
    positions = (move.room.now, *move.targets)
    return ShiftAnswer(move, lines, static_sweep(move), positions, found, tuple(effects), best,
                       judge(effects[best], least, spread, on_sides(effects[best], found)),
                       likely_best(move, positions, [0.0, *(e.gain.value for e in effects)]))


def likely_best(move: PartMove, positions: Sequence[float], scores: Sequence[float]) -> float:
    """Highest point of the parabola (or line) through the driven positions, where the part is free to go."""
    spots = [s for low, high in move.room.free() for s in np.linspace(low, high, 60)] + list(positions)
    inside = np.array([s for s in spots if min(positions) <= s <= max(positions)])
    degree = min(2, len(set(positions)) - 1)
    curve = np.polynomial.Polynomial.fit(positions, scores, degree)
    return float(inside[int(np.argmax(curve(inside)))])
