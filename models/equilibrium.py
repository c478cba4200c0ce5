"""The rigid model at rest on its springs and tyres, on four ground heights: a small independent statics of the truck.

Seven unknowns: the chassis's rise, roll and pitch, and heave and roll of both axles. Forces: weights, shocks with
their stops, and tyres that push straight up by the flat-plate law of their height. Newton's method on the virtual
work of each unknown. Left out: forces along the ground, camber of the tyres, steering, hull contact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from models.massprops import GRAVITY
from models.rigid import AXLE_BODIES, WHEEL_BODIES, RigidModel, ShockLine, TyreRing
from models.tyre import rows_load, tabulated
from models.vector import Vector

_MOST_STEPS = 60
_NUDGE = 1e-8
_TYRE_SAMPLES = 200
_JOINTS = (1, 2, 7, 8)
_EYE = np.eye(3)
_X, _Y = _EYE[0], _EYE[1]


class NoRestError(ValueError):
    """The truck finds no position of rest there."""


@dataclass(frozen=True)
class Rest:
    """A position of rest."""

    q: Vector
    """(7,) rise of the chassis (m), roll, pitch (rad), front heave, front roll, rear heave, rear roll (rad or m)."""
    loads: Vector
    """(4,) upward ground load of each wheel, front left, front right, rear left, rear right, N; negative if it would
    have to be held down."""
    wheel_height: Vector
    """(4,) wheel centres over the level ground, m."""
    shortening: Vector
    """(4,) of each shock from ride height, in the model's order, m."""

    @property
    def roll(self) -> float:
        """Of the chassis, left up positive (ISO 8855), rad."""
        return float(self.q[1])

    @property
    def pitch(self) -> float:
        """Of the chassis, nose down positive (ISO 8855), rad."""
        return float(self.q[2])


class RestingTruck:
    """Finds positions of rest of one model."""

    def __init__(self, model: RigidModel) -> None:
        """Take the model's masses, joints, shocks and tyres; the chassis turns about its whole centre of gravity."""
        self.model = model
        self.pivot = model.cg()
        self.origins = model.origins()
        self._tyres = (_TyreCurve(model.tyres[0]), _TyreCurve(model.tyres[2]))
        bodies = model.bodies
        front = [line.axle_body == AXLE_BODIES[0] for line in model.shocks]
        feet = [self.origins[line.axle_body] + line.p_axle for line in model.shocks]
        # All points that carry a force, by carrier (0 chassis, 1 front axle, 2 rear axle), at ride height.
        self._points = np.vstack([
            self.origins + np.array([b.p_BBcm for b in bodies]),
            self.origins[list(WHEEL_BODIES)],
            np.array([line.p_chassis for line in model.shocks]),
            np.array(feet),
        ])
        shocks = len(front)
        carriers = [0] + [1] * 6 + [2] * 4 + [1, 1, 2, 2] + [0] * shocks + [1 if f else 2 for f in front]
        self._carrier = np.array(carriers)
        self._weights = np.array([b.mass * GRAVITY for b in bodies])
        self._split = np.cumsum([len(bodies), 4, shocks])
        self._moves = np.ones((7, len(carriers)), dtype=bool)
        self._moves[3:5] = self._carrier == 1
        self._moves[5:7] = self._carrier == 2
        joints = [bodies[i] for i in _JOINTS]
        self._slides = np.array([True, False, False] + [b.joint == "prismatic" for b in joints])
        # Rotary unknowns are counted at half a wheelbase, so that all columns are lengths.
        self._scale = np.where(self._slides, 1.0, 2.0 / model.wheelbase)

    def rest(self, ground: Vector, start: Rest | None = None) -> Rest:
        """Find the rest position with these ground heights (4,) under the wheels, m, near another one.

        :raises NoRestError: Newton's method finds none.
        """
        x = np.zeros(7) if start is None else start.q / self._scale
        size = float(self._weights.sum())
        for _ in range(_MOST_STEPS):
            work = self._work(x * self._scale, ground)
            if float(np.max(np.abs(work))) < 1e-9 * size:
                return self._report(x * self._scale, ground)
            slope = np.empty((7, 7))
            for k in range(7):
                x[k] += _NUDGE
                slope[:, k] = (self._work(x * self._scale, ground) - work) / _NUDGE
                x[k] -= _NUDGE
            try:
                move = np.linalg.solve(slope, -work)
            except np.linalg.LinAlgError:
                break
            # Stops and lifting tyres make kinks: never move by more than a small part of the truck at once.
            x = x + move * min(1.0, 0.03 * self.model.wheelbase / float(np.max(np.abs(move))))
        raise NoRestError("no position of rest")

    def _place(self, q: Vector) -> tuple[Vector, Vector, Vector]:
        """Place all points, (n, 3), and the unknowns' axes (7, 3) and a point on each (7, 3); world."""
        pitched = _turned(_Y, q[2])
        turn = pitched @ _turned(_X, q[1])
        middle = self.pivot + np.array([0.0, 0.0, q[0]])
        axes, centres = np.zeros((7, 3)), np.tile(middle, (7, 1))
        axes[0], axes[1], axes[2] = (0.0, 0.0, 1.0), pitched[:, 0], _Y
        points = np.empty_like(self._points)
        chassis = (turn, middle - turn @ self.pivot)
        for carrier, first in ((0, None), (1, 3), (2, 5)):
            frame_turn, shift = chassis
            for k in () if first is None else (first, first + 1):
                body, origin = self.model.bodies[_JOINTS[k - 3]], self.origins[_JOINTS[k - 3]]
                axes[k], centres[k] = frame_turn @ body.axis, shift + frame_turn @ origin
                if self._slides[k]:
                    shift = shift + axes[k] * q[k]
                else:
                    frame_turn = frame_turn @ _turned(body.axis, q[k])
                    shift = centres[k] - frame_turn @ origin
            mine = self._carrier == carrier
            points[mine] = self._points[mine] @ frame_turn.T + shift
        return points, axes, centres

    def _work(self, q: Vector, ground: Vector) -> Vector:
        """Virtual work (7,) of all forces on each unknown, N after scaling."""
        points, axes, centres = self._place(q)
        force = np.zeros_like(points)
        _, hubs, tops, feet = np.split(points, self._split)
        bodies, wheels, shocks = self._split
        force[:bodies, 2] = -self._weights
        force[bodies:wheels, 2] = self._loads(hubs, ground)
        rod = tops - feet
        length = np.sqrt(np.sum(rod * rod, axis=1))
        push = [shock_force(line, line.ride_length - l) for line, l in zip(self.model.shocks, length, strict=True)]
        force[wheels:shocks] = (np.array(push) / length)[:, None] * rod
        force[shocks:] = -force[wheels:shocks]
        moment = np.cross(points[None] - centres[:, None], force[None])
        by_turning = np.einsum("kj,knj->kn", axes, moment)
        work = np.where(self._slides[:, None], axes @ force.T, by_turning)
        return np.asarray(np.sum(work * self._moves, axis=1) * self._scale)

    def _loads(self, hubs: Vector, ground: Vector) -> Vector:
        return np.array([self._tyres[i // 2](hubs[i, 2] - ground[i]) for i in range(4)])

    def _report(self, q: Vector, ground: Vector) -> Rest:
        _, hubs, tops, feet = np.split(self._place(q)[0], self._split)
        length = np.linalg.norm(tops - feet, axis=1)
        ride = np.array([line.ride_length for line in self.model.shocks])
        return Rest(q, self._loads(hubs, ground), hubs[:, 2], ride - length)


def _turned(axis: Vector, angle: float) -> Vector:
    """Rotation matrix about a unit axis (Rodrigues)."""
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(_EYE + math.sin(angle) * cross + (1.0 - math.cos(angle)) * (cross @ cross))


def shock_force(line: ShockLine, shortening: float) -> float:
    """Force (N, compression positive) of a shock at rest, shortened from ride height by this much (m).

    A spring that has reached its free length pushes no more; stops act beyond bump and droop.
    """
    force = max(line.ride_force + line.rate * shortening, 0.0)
    force += line.stop_rate * max(shortening - line.bump, 0.0)
    return force - line.stop_rate * max(-shortening - line.droop, 0.0)


class _TyreCurve:
    """Load against height of the wheel centre, tabulated; beyond first touch it pulls, so that lifting shows."""

    def __init__(self, ring: TyreRing) -> None:
        radius = float(ring.row_radius.max())
        law = tabulated(ring.law_step, ring.law_force)
        self._drop = np.linspace(0.0, 1.0, _TYRE_SAMPLES) ** 2 * (radius - ring.rim_radius) * 0.999
        self._load = np.array([rows_load(ring.row_radius, ring.n_round, law, radius - d) for d in self._drop])
        self._radius = radius
        self._first = (self._load[8] - self._load[0]) / (self._drop[8] - self._drop[0])
        self._last = (self._load[-1] - self._load[-2]) / (self._drop[-1] - self._drop[-2])

    def __call__(self, height: float) -> float:
        drop = self._radius - height
        if drop < 0.0:
            return float(self._first * drop)
        if drop > self._drop[-1]:
            return float(self._load[-1] + self._last * (drop - self._drop[-1]))
        return float(np.interp(drop, self._drop, self._load))


def level(model: RigidModel) -> Rest:
    """Rest position on level ground: where a truck with given preloads, or a heavy side, really stands.

    :raises NoRestError: there is none.
    """
    return RestingTruck(model).rest(np.zeros(4))


def ride_drop(model: RigidModel, rest: Rest) -> tuple[float, float]:
    """How much lower (m) the chassis stands at the front and the rear axle than the sheet's ride height."""
    pivot = model.cg()
    drop = [-(rest.q[0] - math.sin(rest.pitch) * (x - pivot[0])) for x in (model.wheelbase, 0.0)]
    return float(drop[0]), float(drop[1])
