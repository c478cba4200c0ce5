"""How tight the truck turns and what the servo must do to turn the front wheels at rest; SI, angles in rad."""

from __future__ import annotations

import math
from dataclasses import dataclass

from models.spec import Axle


def kingpin_span(axle: Axle) -> float:
    """Distance (m) between an axle's kingpins; four fifths of the track where the sheet leaves it open (assumed)."""
    return 2.0 * (axle.kingpin_y_mm or 0.4 * axle.track_mm) / 1000.0


def outer_angle(inner: float, kingpin_span: float, wheelbase: float, share: float = 1.0) -> float:
    """Steer angle of the outer front wheel.

    Full Ackermann: ``cot(outer) - cot(inner) = span / wheelbase``; of that difference the linkage makes a share
    (0 is parallel steering).
    """
    if inner <= 0.0:
        return inner
    full = math.atan2(1.0, 1.0 / math.tan(inner) + kingpin_span / wheelbase)
    return inner - share * (inner - full)


def turning_radius(inner: float, kingpin_span: float, wheelbase: float, share: float = 1.0) -> float:
    """Radius (m) of the path of the rear axle's middle at a steer angle of the inner wheel; infinite straight ahead.

    Wheelbase times the mean cotangent of both front angles, which for full Ackermann is ``l cot(inner) + span / 2``.
    """
    if inner <= 0.0:
        return math.inf
    outer = outer_angle(inner, kingpin_span, wheelbase, share)
    return wheelbase * 0.5 * (1.0 / math.tan(inner) + 1.0 / math.tan(outer))


@dataclass(frozen=True)
class FrontWheel:
    """One steered wheel at rest."""

    load: float
    """N."""
    grip: float
    patch_area: float
    """m^2 of ground contact."""
    scrub_radius: float
    """m on the ground from the kingpin axis to the tyre centre."""
    kingpin_inclination: float


def scrub_radius(half_track: float, kingpin_y: float, wheel_height: float, inclination: float) -> float:
    """Distance (m) on the ground between kingpin axis and tyre centre; the axis leans inwards going up."""
    return half_track - (kingpin_y + wheel_height * math.tan(inclination))


def scrub_moment(wheel: FrontWheel) -> float:
    """Moment (N m) about the kingpin to turn a standing wheel: ``mu W sqrt(d^2 + (a / 3)^2)``.

    d is the scrub radius and a the diameter of a circle as large as the contact patch, whose mean lever is a / 3
    (Barton & Fieldhouse, Automotive Chassis Engineering, Springer 2018, example E2.1; for d = 0 it is the moment of a
    uniformly loaded circular patch, 2/3 mu W times its radius).
    """
    across = math.sqrt(4.0 * wheel.patch_area / math.pi)
    return wheel.grip * wheel.load * math.hypot(wheel.scrub_radius, across / 3.0)


def jacking_moment(wheel: FrontWheel, steer: float) -> float:
    """Moment (N m) that lifts the truck on inclined kingpins: ``W d sin(i) cos(i) sin(steer)`` (same source)."""
    lean = wheel.kingpin_inclination
    return wheel.load * wheel.scrub_radius * math.sin(lean) * math.cos(lean) * math.sin(steer)
