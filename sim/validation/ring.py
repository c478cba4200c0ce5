"""A tyre in finite elements, in the plane: a ring of compressible rubber on a rigid rim, pressed on ground with a step.

An outside judge of the tyre's law: it shares nothing with the simulation's kernels. Large strains; linear triangles of
a compressible neo-Hookean solid, energy per area ``mu / 2 (I1 - 2 - 2 ln J) + lambda / 2 (ln J)^2`` (Bonet & Wood,
Nonlinear Continuum Mechanics for Finite Element Analysis, ch. 6, from memory), contact without friction by a stiff
potential of the depth at points along the tread, and an axle that rises and falls freely under its load. All of it is
one energy; a place of the axle is solved by Newton's method on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.sparse import coo_matrix, csc_matrix, identity
from scipy.sparse.linalg import splu

Array = NDArray[np.float64]
ROUND, DEEP = 96, 5
"""Elements around the whole ring and from rim to tread."""
ARC = 0.75 * np.pi
"""rad; the ring is meshed so far to either side of straight down, for nothing above can touch."""
EDGE = 0.1
"""Radius of the step's edge over the wheel's, longer than an element of tread, or the tread hooks on it between its
nodes: at 0.03 the push over a step cost 1.17 of load times height, at 0.1 it costs 1.00."""
HARD = 60.0
"""Stiffness of contact per length over the ring's shear modulus."""
PER_SIDE = (0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970263)
"""Contact points along one element's tread: Gauss's four."""
WEIGHT = (0.17392742256872692, 0.32607257743127307, 0.32607257743127307, 0.17392742256872692)


@dataclass(frozen=True)
class Material:
    """What the ring is made of; the wheel's radius is 1."""

    rim: float
    """Radius of the rim."""
    poisson: float
    """Poisson's ratio of the foam at small strains."""
    band: float
    """Modulus of the outermost layer of elements over that of the rest: a tread band that bridges edges."""


def step_depth(points: Array, height: float) -> tuple[Array, Array]:
    """Depth inside the ground (n,), positive inside, and its gradient (n, 2): a step of ``height`` up at x = 0."""
    x, z = points.T
    edge = min(EDGE, height)
    floor = -z
    up = np.tile([0.0, -1.0], (len(x), 1))
    if height <= 0.0:
        return floor, up
    # Rounded corner of the block: distance to the inner quadrant x > edge, z < height - edge, less the edge's radius.
    dx, dz = edge - x, z - (height - edge)
    outside = np.hypot(np.maximum(dx, 0.0), np.maximum(dz, 0.0))
    block = edge - np.where((dx <= 0.0) & (dz <= 0.0), np.maximum(dx, dz), outside)
    slope = np.zeros((len(x), 2))
    corner = (dx > 0.0) & (dz > 0.0)
    size = np.maximum(outside, 1e-12)
    slope[:, 0] = np.where(corner, dx / size, np.where(dx > dz, 1.0, 0.0))
    slope[:, 1] = np.where(corner, -dz / size, np.where(dx > dz, 0.0, -1.0))
    deeper = block > floor
    return np.where(deeper, block, floor), np.where(deeper[:, None], slope, up)


class Ring:
    """A ring on its axle at a place over the step; places are in radii, forces in shear modulus times radius."""

    def __init__(self, material: Material, height: float) -> None:
        """Mesh the ring; the last unknown is the height of the axle."""
        per = round(ROUND * ARC / np.pi)
        angle = np.linspace(-ARC, ARC, per + 1)
        # Finer towards the tread.
        radius = 1.0 - (1.0 - material.rim) * np.linspace(1.0, 0.0, DEEP + 1) ** 1.5
        a, r = np.meshgrid(angle, radius, indexing="ij")
        self.rest = np.stack([(r * np.sin(a)).ravel(), (-r * np.cos(a)).ravel()], axis=1)
        node = np.arange(self.rest.shape[0]).reshape(a.shape)
        quads = np.stack([node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]], axis=-1)
        even = (np.add.outer(np.arange(per), np.arange(DEEP)) % 2 == 0)[..., None, None]
        corners = np.where(even, quads[..., [[0, 1, 2], [0, 2, 3]]], quads[..., [[0, 1, 3], [1, 2, 3]]])
        self.triangles = corners.reshape(-1, 3)
        layer = np.broadcast_to(np.arange(DEEP)[None, :, None], (per, DEEP, 2)).ravel()
        self.modulus = np.where(layer == DEEP - 1, material.band, 1.0)
        self.ratio = 2.0 * material.poisson / (1.0 - 2.0 * material.poisson)
        self.tread = np.stack([node[:-1, -1], node[1:, -1]], axis=1)
        self.height = height
        shape = self.rest[self.triangles]
        sides = np.stack([shape[:, 1] - shape[:, 0], shape[:, 2] - shape[:, 0]], axis=2)
        self.area = 0.5 * np.abs(np.linalg.det(sides))
        inverse = np.linalg.inv(sides)
        # F[i, j] = sum over corners of place[i] slope[corner, j]
        self.slope = np.stack([-inverse.sum(axis=1), inverse[:, 0], inverse[:, 1]], axis=1)
        free = np.ones(a.shape, dtype=bool)
        free[:, 0] = False
        self.free = free.ravel()
        # All nodes from the unknowns: free nodes are relative to the axle, so that the axle's height moves everything.
        count = 2 * int(self.free.sum())
        rows = np.repeat(self.free, 2).nonzero()[0]
        lift = np.arange(1, 2 * len(self.rest), 2)
        columns = np.concatenate([np.arange(count), np.full(len(lift), count)])
        entries = np.ones(len(columns)), (np.concatenate([rows, lift]), columns)
        self.spread = csc_matrix(entries, shape=(2 * len(self.rest), count + 1))
        self.unknowns = np.zeros(count + 1)

    def solid(self, place: Array, *, only: bool = False) -> tuple[float, Array, csc_matrix | None]:
        """Energy of the rubber, its slope over all nodes (n, 2) and its curvature; or the energy ``only``."""
        deformation = np.einsum("tci,tcj->tij", place[self.triangles], self.slope)
        det = np.linalg.det(deformation)
        if np.any(det <= 0.05):
            return np.inf, place, None
        log = np.log(det)
        stretch = np.einsum("tij,tij->t", deformation, deformation)
        weight = self.area * self.modulus
        total = float(np.sum(weight * (0.5 * (stretch - 2.0 - 2.0 * log) + 0.5 * self.ratio * log**2)))
        if only:
            return total, place, None
        back = np.swapaxes(np.linalg.inv(deformation), 1, 2)
        stress = weight[:, None, None] * (deformation + (self.ratio * log - 1.0)[:, None, None] * back)
        force = np.zeros((len(self.rest), 2))
        np.add.at(force, self.triangles, np.einsum("tij,tcj->tci", stress, self.slope))
        # Curvature: dP = dF + r back tr(F^-1 dF) - (r ln J - 1) back dF^T back.
        n = self.slope
        turned = np.einsum("tij,tcj->tci", back, n)
        solid = np.einsum("tcj,tdj,ik->tcidk", n, n, np.eye(2))
        solid += self.ratio * np.einsum("tci,tdk->tcidk", turned, turned)
        solid -= (self.ratio * log - 1.0)[:, None, None, None, None] * np.einsum("tck,tdi->tcidk", turned, turned)
        solid *= weight[:, None, None, None, None]
        return total, force, _assemble(self.triangles, solid, len(self.rest))

    def touch(
        self, place: Array, grip: float = 0.0, *, only: bool = False
    ) -> tuple[float, Array, csc_matrix | None]:
        """Energy of contact, its slope over all nodes (n, 2) and its curvature; or the energy ``only``.

        With ``grip`` the tread slides backward along the ground everywhere, as under a wheel that spins: friction
        (grip times what presses) is added to the slope, which then is no energy's and whose matrix is not symmetric.
        """
        ends = place[self.tread]
        length = np.linalg.norm(np.diff(self.rest[self.tread], axis=1)[:, 0], axis=1)
        part, share = np.array(PER_SIDE), np.array(WEIGHT)
        points = ends[:, None, 0] * (1.0 - part)[None, :, None] + ends[:, None, 1] * part[None, :, None]
        depth, normal = step_depth(points.reshape(-1, 2), self.height)
        hold = HARD * (length[:, None] * share[None, :]).ravel()
        depth = np.maximum(depth, 0.0)
        total = float(np.sum(0.5 * hold * depth**2))
        if only:
            return total, place, None
        force = np.zeros((len(self.rest), 2))
        # Into the ground and, against what friction does to the tread, a quarter turn from it.
        way = normal - grip * np.stack([-normal[:, 1], normal[:, 0]], axis=1)
        both = np.stack([1.0 - part, part], axis=1)
        push = ((hold * depth)[:, None] * way).reshape(len(ends), -1, 2)
        np.add.at(force, self.tread, np.einsum("spi,pc->sci", push, both))
        stiff = np.where(depth > 0.0, hold, 0.0).reshape(len(ends), -1)
        ways, into = way.reshape(push.shape), normal.reshape(push.shape)
        contact = np.einsum("sp,spi,spk,pc,pd->scidk", stiff, ways, into, both, both)
        return total, force, _assemble(self.tread, contact, len(self.rest))

    def energy(
        self, unknowns: Array, x: float, load: float, *, only: bool = False
    ) -> tuple[float, Array, csc_matrix | None, Array]:
        """Energy, its slope and curvature over the unknowns, and the slope over all nodes; or the energy ``only``."""
        place = self.rest + (self.spread @ unknowns).reshape(-1, 2) + [x, 0.0]
        inner, stress, solid = self.solid(place, only=only)
        outer, push, contact = self.touch(place, only=only)
        total = inner + outer + load * float(unknowns[-1])
        if only or solid is None or contact is None:
            return total, unknowns, None, unknowns
        force = stress + push
        slope = np.asarray(self.spread.T @ force.ravel())
        slope[-1] += load
        return total, slope, (self.spread.T @ (solid + contact) @ self.spread).tocsc(), force

    def settle(self, x: float, load: float) -> tuple[float, float]:
        """Pull along x (shear modulus times radius) and height of the axle (radii) at rest under a load."""
        unknowns, eye = self.unknowns, identity(len(self.unknowns), format="csc")
        guard = 0.0
        total, slope, matrix, force = self.energy(unknowns, x, load)
        for _ in range(80):
            if float(np.abs(slope).max()) < 1e-7 * load:
                break
            step = -splu((matrix + guard * eye).tocsc()).solve(slope)
            size = min(1.0, 0.15 / float(np.abs(step).max()))
            while size > 1e-6:
                new = self.energy(unknowns + size * step, x, load, only=True)[0]
                if new < total + 1e-4 * size * float(slope @ step) or abs(new - total) < 1e-13:
                    break
                size *= 0.5
            else:
                guard = max(10.0 * guard, 1e-3)
                continue
            guard *= 0.1
            unknowns = unknowns + size * step
            total, slope, matrix, force = self.energy(unknowns, x, load)
        self.unknowns = unknowns
        return float(force[:, 0].sum()), float(unknowns[-1])


def _assemble(cells: NDArray[np.int64], local: Array, nodes: int) -> csc_matrix:
    places = (2 * cells[:, :, None] + np.arange(2)).reshape(len(cells), -1)
    n = places.shape[1]
    rows, columns = np.repeat(places, n, axis=1).ravel(), np.tile(places, (1, n)).ravel()
    return coo_matrix((local.reshape(-1), (rows, columns)), shape=(2 * nodes, 2 * nodes)).tocsc()


def load_at(material: Material, sink: float) -> float:
    """Load (shear modulus times radius) under which the ring sinks so far (radii) on a flat."""

    def more(load: float) -> float:
        ring = Ring(material, 0.0)
        ring.unknowns[-1] = 1.0 - sink
        return 1.0 - ring.settle(-3.0, load)[1] - sink

    return float(brentq(more, 0.02, 3.0, rtol=1e-3))


def pushed_ring(material: Material, height: float, sink: float, points: int = 36) -> tuple[float, float]:
    """Work over load times rise, and largest pull over load, of a ring pushed over a step that sinks so on a flat."""
    load = load_at(material, sink)
    ring = Ring(material, height)
    ring.unknowns[-1] = 1.0 - sink
    xs = np.linspace(-1.35, 0.55, points)
    pull, lift = np.array([ring.settle(float(x), load) for x in xs]).T
    return float(np.trapezoid(pull, xs)) / (load * float(lift[-1] - lift[0])), float(pull.max()) / load
