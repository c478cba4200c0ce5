"""The ring in finite elements spun over a step: its tread slides backward everywhere, as under a wheel that spins.

Friction has no energy, so balance is sought by Newton's method on the forces themselves. The way over the step is
followed by the axle's height, which rises all along it; its place along the ground is what is found.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from sim.validation.ring import Material, Ring, load_at

Array = NDArray[np.float64]
GRIP_STEP = 0.1


class NoBalance(ValueError):
    """Newton's method found no place where the ring carries its load."""


class Climb:
    """A ring on the step under its load (shear modulus times radius) while its tread slides; lengths in radii."""

    def __init__(self, ring: Ring, load: float) -> None:
        """Unknown are the free nodes relative to the axle and, last, the axle's place along the ground."""
        self.ring, self.load = ring, load
        count = ring.spread.shape[1] - 1
        nodes = len(ring.rest)
        rows = np.repeat(ring.free, 2).nonzero()[0]

        def with_last(first: int) -> csc_matrix:
            places = np.arange(first, 2 * nodes, 2)
            columns = np.concatenate([np.arange(count), np.full(len(places), count)])
            return csc_matrix((np.ones(len(columns)), (np.concatenate([rows, places]), columns)),
                              shape=(2 * nodes, count + 1))

        self._moves, self._feels = with_last(0), with_last(1)
        self.unknowns = np.zeros(count + 1)

    def _residual(self, unknowns: Array, z: float, grip: float) -> tuple[Array, csc_matrix | None, float]:
        place = self.ring.rest + (self._moves @ unknowns).reshape(-1, 2) + [0.0, z]
        _, stress, solid = self.ring.solid(place)
        if solid is None:
            return unknowns, None, 0.0
        _, push, contact = self.ring.touch(place, grip)
        force = stress + push
        left = np.asarray(self._feels.T @ force.ravel())
        left[-1] += self.load
        return left, (self._feels.T @ (solid + contact) @ self._moves).tocsc(), float(force[:, 0].sum())

    def settle(self, z: float, grip: float) -> float:
        """Pull (shear modulus times radius) that holds the axle at a height.

        :raises NoBalance: Newton's method ends without one.
        """
        unknowns = self.unknowns
        left, matrix, pull = self._residual(unknowns, z, grip)
        for _ in range(60):
            if matrix is None:
                break
            off = float(np.abs(left).max())
            if off < 1e-7 * self.load:
                self.unknowns = unknowns
                return pull
            step = -splu(matrix).solve(left)
            size = min(1.0, 0.1 / float(np.abs(step).max()))
            norm = float(np.linalg.norm(left))
            for _ in range(12):
                new = unknowns + size * step
                left, matrix, pull = self._residual(new, z, grip)
                if matrix is not None and float(np.linalg.norm(left)) < (1.0 - 1e-4 * size) * norm:
                    break
                size *= 0.5
            unknowns = new
        raise NoBalance(f"step of {self.ring.height} R, axle at {z:.3f} R, grip {grip}")

    def go(self, z: float, grip: float, start: float, step: float = 0.02) -> float:
        """Pull at a height, reached from height ``start`` by steps as short as it takes."""
        at, before = start, self.unknowns
        pull = 0.0
        while abs(z - at) > 1e-12:
            aim = at + float(np.clip(z - at, -step, step))
            try:
                pull = self.settle(aim, grip)
                at, before = aim, self.unknowns
            except NoBalance:
                self.unknowns = before
                step *= 0.5
                if step < 1e-4:
                    raise
        return pull


def spun_ring(material: Material, height: float, sink: float, grips: tuple[float, ...], points: int = 24) -> Array:
    """Pull over load (grips, points) of a ring that spins its way over a step, at even heights of the axle."""
    load = load_at(material, sink)
    made = []
    for grip in grips:
        ring = Ring(material, height)
        ring.unknowns[-1] = 1.0 - sink
        x = 0.0
        for x in np.linspace(-1.3, 0.3, 81):
            z = ring.settle(float(x), load)[1]
            if z > 1.0 - sink + 0.5 * height:
                break
        climb = Climb(ring, load)
        climb.unknowns[:-1], climb.unknowns[-1] = ring.unknowns[:-1], x
        for part in np.linspace(0.0, grip, 1 + max(1, round(abs(grip) / GRIP_STEP)))[1:]:
            climb.settle(z, float(part))
        middle, ways = climb.unknowns, {}
        heights = 1.0 - sink + height * (np.arange(points) + 0.5) / points
        for side in (heights[heights < z][::-1], heights[heights >= z]):
            climb.unknowns, at = middle, z
            for aim in side:
                ways[float(aim)] = climb.go(float(aim), grip, at)
                at = float(aim)
        made.append([ways[float(h)] / load for h in heights])
    return np.array(made)
