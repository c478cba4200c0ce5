"""The truck as the simulation drives it: bodies, joints and force elements, in SI.

Every body frame is parallel to the vehicle frame (x forward, y left, z up) when all joint positions are zero,
which is the truck level at ride height. A body's frame has its origin on its joint; the chassis frame has its
origin at the sheet datum. ``p_PJ`` reads: position of J in the frame of P.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

BODY_NAMES: tuple[str, ...] = (
    "chassis",
    "front_heave_arm",
    "front_axle",
    "front_left_knuckle",
    "front_left_wheel",
    "front_right_knuckle",
    "front_right_wheel",
    "rear_heave_arm",
    "rear_axle",
    "rear_left_wheel",
    "rear_right_wheel",
)
"""The tree in the one order used everywhere; a joint's index is its body's index minus one."""

PARENTS: tuple[int, ...] = (-1, 0, 1, 2, 3, 2, 5, 0, 7, 8, 8)
WHEEL_BODIES: tuple[int, ...] = (4, 6, 9, 10)
"""Front left, front right, rear left, rear right: the order of every array over wheels."""
KNUCKLE_BODIES: tuple[int, ...] = (3, 5)
AXLE_BODIES: tuple[int, ...] = (2, 8)
JOINT_COUNT = 10


@dataclass(frozen=True)
class Body:
    """One rigid body and the joint that carries it."""

    name: str
    parent: int
    joint: Literal["free", "revolute", "prismatic"]
    p_PJ: Vector
    """(3,) joint position in the parent's frame, m."""
    axis: Vector
    """(3,) unit joint axis, same components in both frames at rest."""
    mass: float
    """kg."""
    p_BBcm: Vector
    """(3,) centre of mass in the body frame, m."""
    I_BBcm: Vector
    """(3, 3) rotational inertia about the centre of mass, body axes, kg m^2."""


SOFT_EDGE = 0.2
"""Share of a tyre's width over which its pressure fades at either shoulder, half of it outside the width (assumed)."""


@dataclass(frozen=True)
class TyreRing:
    """The tyre of one wheel: tread elements fixed to the wheel, the law along one ray from the axle, and grip.

    The elements stand in ``n_round`` directions about the axle and ``rows`` across the tread, each on its ray.
    """

    n_round: int
    row_y: Vector
    """(rows,) lateral place of each row from the tyre's middle, m."""
    row_radius: Vector
    """(rows,) unloaded radius of each row, m (crown)."""
    rim_radius: float
    """m; a ray cannot be shorter."""
    law_step: float
    """m between samples of ``law_force``."""
    law_force: Vector
    """(n,) radial force along one ray at shortening 0, law_step, 2 law_step, ...; N. Continued with its last slope."""
    bristle_stiffness: float
    """N/m of one tread element along the ground."""
    carcass_stiffness: float
    """N/m along the ground between rim and tread, shared by all that touches."""
    damping_time: float
    """s; damping force = damping_time * local stiffness * speed, radial and along the ground."""
    grip: float
    """Friction coefficient on the reference surface at ``grip_pressure``."""
    grip_pressure: float
    """Pa."""
    grip_exponent: float
    """mu = grip * (pressure / grip_pressure) ** -grip_exponent."""
    element_area: float
    """m^2 of ground that one touching element stands for."""

    @property
    def width(self) -> float:
        """Of the tread, m: the rows stand in the middles of equal strips."""
        rows = len(self.row_y)
        return self.element_area * self.n_round * rows / (2.0 * math.pi * float(self.row_radius.max()))

    @property
    def crown(self) -> float:
        """Drop of the tread's radius over the squared place across it, 1/m, with the mean drop of the rows."""
        drop = float(self.row_radius.max()) - float(self.row_radius.mean())
        return 12.0 * drop / self.width**2

    def pressure(self) -> Vector:
        """Pressure field (n,) at depths 0, law_step, ... under the tread, Pa, that gives the law's load on a flat.

        One strip's rays, n / (2 pi) a radian with the law f(s), are those of a field p in a ring of width w whose
        pieces are pressed along the ray by -p'(r) r w: f' = 2 pi w r p' / n at r = R - s.
        """
        strip = self.width / len(self.row_y)
        radius = float(self.row_radius.mean()) - self.law_step * np.arange(len(self.law_force))
        # Exact for the law between samples, which is straight: the integral of ds / (R - s).
        rises = np.diff(self.law_force) / self.law_step * np.log(radius[:-1] / radius[1:])
        scale = self.n_round / (2.0 * math.pi * strip)
        return np.asarray(scale * np.concatenate([[self.law_force[0] / radius[0]], rises]).cumsum())

    def stiffness_along(self, touching: float) -> float:
        """Of the whole tyre along the ground with this many elements on it, N/m: tread and carcass in series."""
        return 1.0 / (1.0 / (self.bristle_stiffness * touching) + 1.0 / self.carcass_stiffness)


@dataclass(frozen=True)
class HullPoints:
    """Feelers of the hard hull: each a short segment from inside a shape to its skin."""

    body: NDArray[np.int64]
    """(n,) body index."""
    p_root: Vector
    """(n, 3) inner end in the body frame, m."""
    p_tip: Vector
    """(n, 3) outer end on the skin, body frame, m."""
    stiffness: Vector
    """(n,) N/m."""
    grip: Vector
    """(n,) friction coefficient."""
    part: NDArray[np.int64]
    """(n,) index into ``names``."""
    names: tuple[str, ...]


@dataclass(frozen=True)
class ShockLine:
    """A spring and damper between a point on the chassis and a point on an axle."""

    axle_body: int
    p_chassis: Vector
    """(3,) chassis frame, m."""
    p_axle: Vector
    """(3,) axle body frame, m."""
    ride_length: float
    """m."""
    ride_force: float
    """N, compression positive, at ride height."""
    rate: float
    """N/m."""
    damping: float
    """N s/m."""
    bump: float
    """m of shortening from ride height before the bump stop."""
    droop: float
    """m of lengthening from ride height before the droop stop."""
    stop_rate: float
    """N/m of either stop."""


@dataclass(frozen=True)
class DriveTrain:
    """Motor to wheels."""

    kt: float
    """N m/A, equal to 1/kV in SI."""
    resistance: float
    """ohm, motor plus pack."""
    no_load_current: float
    current_limit: float
    voltage: float
    rotor_inertia: float
    """kg m^2 at the motor shaft."""
    front_reduction: float
    """Motor turns per front-wheel turn."""
    rear_reduction: float
    shaft_reduction: float
    """Wheel torque over drive-shaft torque (reduction behind the shafts)."""
    efficiency: float
    shaft_stiffness: float
    """N m/rad from transfer case to one wheel, at the wheel."""
    shaft_damping: float
    """N m s/rad."""
    drag_brake: float
    locked_front: bool
    locked_rear: bool
    twist: float = 1.0
    """1 if the shafts turn clockwise seen from behind when driving forward, else -1."""


@dataclass(frozen=True)
class Steering:
    """Servo to knuckles."""

    limit: float
    """rad, inner wheel."""
    ackermann: float
    wheelbase: float
    kingpin_span: float
    """m between the kingpins where they meet the wheel-centre height."""
    stall_torque: float
    """N m about one kingpin pair (servo torque times arm ratio)."""
    speed: float
    """rad/s of the knuckle with no load."""
    stiffness: float
    """N m/rad of the drag link per knuckle."""
    damping: float
    """N m s/rad."""


@dataclass(frozen=True)
class RigidModel:
    """Everything a trial needs to know about one configuration."""

    name: str
    config_hash: str
    scale: float
    wheelbase: float
    track: tuple[float, float]
    bodies: tuple[Body, ...]
    tyres: tuple[TyreRing, TyreRing, TyreRing, TyreRing]
    shocks: tuple[ShockLine, ...]
    drive: DriveTrain
    steering: Steering
    hull: HullPoints

    @property
    def mass(self) -> float:
        """Total mass, kg."""
        return float(sum(body.mass for body in self.bodies))

    def origins(self) -> Vector:
        """Body origins in the chassis frame at ride height, (11, 3), m."""
        return origins(self.bodies)

    def cg(self) -> Vector:
        """Whole-truck centre of gravity at ride height in the sheet frame, (3,), m."""
        moments = [b.mass * (p + b.p_BBcm) for b, p in zip(self.bodies, self.origins(), strict=True)]
        return np.asarray(np.sum(moments, axis=0) / self.mass)


def origins(bodies: Sequence[Body]) -> Vector:
    """Body origins in the chassis frame at ride height, (n, 3), m."""
    p = np.zeros((len(bodies), 3))
    for i, body in enumerate(bodies):
        if body.parent >= 0:
            p[i] = p[body.parent] + body.p_PJ
    return p


def kingpin_inertia(bodies: Sequence[Body]) -> float:
    """Inertia (kg m^2) of the left knuckle with its wheel about the kingpin."""
    knuckle, wheel = bodies[KNUCKLE_BODIES[0]], bodies[WHEEL_BODIES[0]]
    total = 0.0
    for body, offset in ((knuckle, np.zeros(3)), (wheel, wheel.p_PJ)):
        arm = np.cross(knuckle.axis, offset + body.p_BBcm)
        total += float(knuckle.axis @ body.I_BBcm @ knuckle.axis) + body.mass * float(arm @ arm)
    return total
