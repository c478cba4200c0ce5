"""How high a ledge a rigid truck gets onto by grip alone, one axle after the other, crept at square on; SI.

An axle is at its limit where its wheels have just left the ground and hang on the edge. With p the angle at the wheel's
centre between straight down and the edge, ``cos p = (R - h) / R``, the edge pushes with N towards the centre and pulls
with T across it, the other axle stands on level ground with N' and T'. Three balances of the plane hold for N, T, N',
T'. Two ways to couple the axles close them:

- *locked*: they turn together and share the torque as grip allows; at the limit both stand at ``T = mu N``.
- *open*: a differential between them gives both the same torque; nothing is left free, and the axle that needs more
  grip than it has slips.

The front axle climbs with the truck level, so the height of the centre of gravity drops out. The rear one climbs with
the front wheels on top and the nose up; the edge and the ground under the front wheels are then at one height, and
moments about the edge leave the front axle's load alone. In either case an axle that is off the ground only gets
lighter work as it rises, so that the first moment decides.

The balances are those of M. G. Bekker, Theory of Land Locomotion (Univ. of Michigan Press 1956), on crossing a vertical
step (from memory; derived here). Wheels that meet the face at the height of their centre or under it (p = 90 deg)
climb any face: limits end at the radius.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

STATIONS = 90
"""Edge angles between which the first balance that fails is looked for."""


@dataclass(frozen=True)
class LedgeTruck:
    """What the balance asks of a truck."""

    grip: tuple[float, float]
    """Friction coefficients of the front and rear tyres."""
    radius: tuple[float, float]
    """Loaded radii, front and rear, m."""
    wheelbase: float
    ahead: float
    """Centre of gravity ahead of the rear axle, m."""
    height: float
    """Of the centre of gravity over the ground, truck level, m."""
    open_coupling: bool = False
    """An open differential between the axles gives both the same torque."""


@dataclass(frozen=True)
class LedgeLimits:
    """Highest ledge in m; the wheel's radius stands for that and more."""

    front: float
    rear: float
    """Front wheels already on top."""

    @property
    def whole(self) -> float:
        """Both axles, one after the other."""
        return min(self.front, self.rear)


def ledge_limits(truck: LedgeTruck) -> LedgeLimits:
    """Highest ledge (m) that either axle climbs; see the head of this file."""
    return LedgeLimits(_limit(truck.radius[0], _front(truck)), _limit(truck.radius[1], _rear(truck)))


def _limit(radius: float, spare: Callable[[float], float]) -> float:
    """Lowest ledge (m) whose balance leaves nothing to spare; the radius if none does."""
    angles = np.linspace(0.0, math.pi / 2.0, STATIONS + 1)[1:]
    first = next((k for k, p in enumerate(angles) if spare(float(p)) < 0.0), None)
    if first is None:
        return radius
    angle = brentq(spare, float(angles[first - 1]), float(angles[first]), xtol=1e-12) if first else 0.0
    return radius * (1.0 - math.cos(angle))


def _front(truck: LedgeTruck) -> Callable[[float], float]:
    (front, rear), radius, length, ahead = truck.grip, truck.radius[0], truck.wheelbase, truck.ahead
    torque = truck.radius[1] / truck.radius[0]

    def locked(p: float) -> float:
        # Moments about the rear wheels' contact, with N' from the balances of forces; times N / (W N').
        sin, cos = math.sin(p), math.cos(p)
        lift, push = cos + front * sin, sin - front * cos
        return rear * (lift * (length + radius * sin) + push * radius * (1.0 - cos)) - ahead * (rear * lift + push)

    def open_(p: float) -> float:
        sin, cos = math.sin(p), math.cos(p)
        pull = ahead / ((cos + torque) * (length / sin + radius) + radius * (1.0 - cos))  # T' / W, T = torque T'
        behind = 1.0 - pull * (cos + torque) / sin
        return min(front * (1.0 + torque * cos) - torque * sin, rear * behind - pull)

    return open_ if truck.open_coupling else locked


def _rear(truck: LedgeTruck) -> Callable[[float], float]:
    (front, rear), radius = truck.grip, truck.radius[1]
    torque = truck.radius[1] / truck.radius[0]

    def spare(p: float) -> float:
        sin, cos = math.sin(p), math.cos(p)
        nose = _nose_up(truck, radius * (1.0 - cos))
        if nose is None:
            return -1.0
        edge = radius * sin
        span = truck.wheelbase * math.cos(nose) - (truck.radius[0] - radius) * math.sin(nose) - edge
        weight = truck.ahead * math.cos(nose) - (truck.height - radius) * math.sin(nose) - edge
        if span <= 0.0 or weight <= 0.0:
            return min(span, weight) / truck.wheelbase  # it falls over backwards
        ahead = weight / span  # front load / W
        if truck.open_coupling:
            pull = (1.0 - ahead) * sin / (1.0 + torque * cos)  # T / W at the edge; torque T in front
            return min(rear * (cos + torque) - sin, front * ahead - torque * pull)
        lift, push = cos + rear * sin, sin - rear * cos
        return ahead * (push + front * lift) - push

    return spare


def _nose_up(truck: LedgeTruck, height: float) -> float | None:
    """Pitch (rad) with the front wheels on top and the rear ones on the ground; None where the truck is too short."""
    over = truck.radius[0] - truck.radius[1]
    reach = math.hypot(truck.wheelbase, over)
    return math.asin((height + over) / reach) - math.atan2(over, truck.wheelbase) if height + over < reach else None

