"""Driving set-ups in common luck: who was cleared where, repeat by repeat."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.explore.aim import Aim
from sim.explore.workshop import Setup

Array = NDArray[np.float64]


class ProvingGround(Protocol):
    """Whoever can drive set-ups: real trials, or a made-up truck in a test."""

    aims: tuple[Aim, ...]

    def drive(self, wanted: Sequence[tuple[Setup, int]]) -> Mapping[tuple[str, int], Array]:
        """Drive every (set-up, repeat).

        :returns: By truck hash and repeat, (aims,) share of the levels that were cleared; NaN where a trial was void.
        """


@dataclass
class Scores:
    """What is known of every set-up; a repeat is one pass over all aims and levels with luck of its own."""

    ground: ProvingGround
    known: dict[str, dict[int, Array]] = field(default_factory=dict)

    def find(self, wanted: Iterable[tuple[Setup, Iterable[int]]]) -> None:
        """Have set-ups drive repeats, all at once; what is known already is left out."""
        missing: dict[tuple[str, int], Setup] = {}
        for setup, repeats in wanted:
            known = self.known.get(setup.truck.hash, {})
            missing.update({(setup.truck.hash, repeat): setup for repeat in repeats if repeat not in known})
        if not missing:
            return
        pairs = [(setup, repeat) for (_, repeat), setup in missing.items()]
        for (truck, repeat), shares in self.ground.drive(pairs).items():
            self.known.setdefault(truck, {})[repeat] = shares

    def of(self, setup: Setup, repeats: Iterable[int] | None = None) -> Array:
        """(n, aims) shares cleared, in the order of the repeats; void ones left out."""
        mine = self.known.get(setup.truck.hash, {})
        which = sorted(mine) if repeats is None else [repeat for repeat in repeats if repeat in mine]
        data = np.array([mine[repeat] for repeat in which], dtype=float).reshape(len(which), len(self.ground.aims))
        return np.asarray(data[np.isfinite(data).all(axis=1)])

    def chance(self, setup: Setup) -> Array:
        """(aims,) chance to clear, over every repeat that is known."""
        return np.asarray(self.of(setup).mean(axis=0))

    def difference(self, setup: Setup, other: Setup, repeats: Iterable[int] | None = None) -> Array:
        """(n, aims) shares less those of another set-up in the repeats that both drove."""
        mine, theirs = self.known.get(setup.truck.hash, {}), self.known.get(other.truck.hash, {})
        which = sorted(set(mine) & set(theirs) & set(mine if repeats is None else repeats))
        if not which:
            return np.empty((0, len(self.ground.aims)))
        data = np.array([mine[repeat] - theirs[repeat] for repeat in which])
        return np.asarray(data[np.isfinite(data).all(axis=1)])
