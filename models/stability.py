"""Where a rigid truck tips over and where it starts to slide; SI, angles in rad.

Rigid: no squat, no tyre deflection beyond the static one. Real trucks tip earlier.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from models.vector import Vector


@dataclass(frozen=True)
class TipAngles:
    """Tilt of the ground at which the truck tips over, by the side it falls to; rad (deg in :class:`Statics`)."""

    left: float
    """Left side low."""
    right: float
    back: float
    """Nose up: climbing."""
    front: float
    """Nose down: descending."""

    def in_degrees(self) -> TipAngles:
        """Return the same angles in degrees."""
        return TipAngles(*(math.degrees(a) for a in (self.left, self.right, self.back, self.front)))


def tip_angles(contacts: Vector, cg: Vector) -> TipAngles:
    """Tilt at which the weight passes over the tip line, ``atan(lever / height)`` in each direction.

    The table tilts about the truck's own length or width. Sideways with unequal tracks the lever is measured abreast
    of the centre of gravity, where the weight meets the line through both tyre centres of that side.

    :param contacts: (4, 2) x and y of the ground points, front left, front right, rear left, rear right, m.
    :param cg: (3,) centre of gravity over the ground, m.
    """
    fl, fr, rl, rr = contacts
    along = (cg[0] - rl[0]) / (fl[0] - rl[0])
    left = rl[1] + along * (fl[1] - rl[1]) - cg[1]
    right = cg[1] - (rr[1] + along * (fr[1] - rr[1]))
    back = cg[0] - max(rl[0], rr[0])
    front = min(fl[0], fr[0]) - cg[0]
    return TipAngles(*(math.atan2(float(lever), float(cg[2])) for lever in (left, right, back, front)))


def axle_loads_on_climb(weight: float, from_front: float, from_rear: float, height: float, slope: float) -> Vector:
    """Loads (N) on the front and rear axle, (2,), standing on a slope with the nose up (negative: nose down).

    ``W (a2 cos s - h sin s) / l`` and ``W (a1 cos s + h sin s) / l`` (Jazar, Vehicle Dynamics, Springer 2008, eqs.
    2.44-2.45), with a1 and a2 the distances of the centre of gravity from the front and the rear axle.
    """
    wheelbase = from_front + from_rear
    cos, sin = math.cos(slope), math.sin(slope)
    front = weight * (from_rear * cos - height * sin) / wheelbase
    return np.array([front, weight * cos - front])


def climb_by_grip(
    grip: tuple[float, float], from_front: float, from_rear: float, height: float,
    driven: tuple[bool, bool] = (True, True),
) -> float:
    """Steepest slope (rad) on which the driven axles can hold the truck, both at their friction limit.

    All wheels driven with one friction coefficient: ``tan s = mu``; front only ``mu a2 / (l + mu h)``, rear only
    ``mu a1 / (l - mu h)`` (from the equilibrium in Jazar, Vehicle Dynamics, Springer 2008, eqs. 2.63-2.67). A slope on
    which the front axle carries nothing any more is past tipping, and is the largest that is returned.

    :param grip: friction coefficients of the front and rear tyres.
    """
    tips = math.atan2(from_rear, height)

    def spare(slope: float) -> float:
        loads = axle_loads_on_climb(1.0, from_front, from_rear, height, slope)
        return sum(mu * float(n) for mu, n, on in zip(grip, loads, driven, strict=True) if on) - math.sin(slope)

    if spare(tips) >= 0.0:
        return tips
    return float(brentq(spare, 0.0, tips, xtol=1e-12))


def side_by_grip(grip: tuple[float, float], front_share: float) -> float:
    """Steepest side slope (rad) before the truck slides: ``atan`` of the friction weighted with the axle loads."""
    return math.atan(grip[0] * front_share + grip[1] * (1.0 - front_share))


def grip_under(grip: float, pressure: float, reference: float, exponent: float) -> float:
    """Friction coefficient at a ground pressure (Pa): ``grip (p / p_ref) ** -exponent``."""
    return grip * (pressure / reference) ** -exponent
