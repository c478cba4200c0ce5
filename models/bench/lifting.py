"""Height of the centre of gravity by lifting one axle, in closed form; SI, side view.

The truck stands with one axle on a scale and the other raised by ``lift``, wheels free to roll, so that both supports
push straight up through their axle's centre. Method of ISO 10392 (axle lift; its own text not at hand: several lifts,
up and down, both ends); formula by moments, and as published for cars ``h = R + (l / W) dF cot(angle)``.
"""

from __future__ import annotations

import math

from models.errors import BuildSheetError


def lift_angle(lift: float, wheelbase: float, radius_down: float, radius_raised: float) -> float:
    """Angle (rad) that the truck turns through when the centre of one axle is raised by ``lift`` over its level place.

    ``l sin a + (r_raised - r_down) (cos a - 1) = lift``; for equal radii ``sin a = lift / l`` (the slope is
    lift / sqrt(l^2 - lift^2), not lift / l).

    :raises BuildSheetError: the lift cannot be, since the raised axle is one wheelbase away from the other.
    """
    unequal = radius_raised - radius_down
    across = math.hypot(wheelbase, unequal)
    share = (lift + unequal) / across
    if not -1.0 < share < 1.0:
        raise BuildSheetError(
            f"an axle {1000 * wheelbase:.0f} mm from the other cannot be {1000 * lift:.0f} mm higher.",
            remedy="Give the height of the raised axle's centre over its own level place, not over the floor.",
            field="lift.height",
        )
    return math.asin(share) - math.atan2(unequal, wheelbase)


def axle_share(x: float, height: float, angle: float, wheelbase: float, radii: tuple[float, float], on: str) -> float:
    """Share of the weight that the axle left on the scale carries while the other is raised.

    :param x: m of the centre of gravity ahead of the rear axle, truck level.
    :param height: m over the ground, truck level.
    :param angle: rad that the truck is turned, from :func:`lift_angle`.
    :param radii: m, heights of the front and rear axle centres, truck level.
    :param on: ``front`` or ``rear``, the axle on the scale.
    """
    front, rear = radii
    tan = math.tan(angle)
    if on == "front":
        return (x + (height - rear) * tan) / (wheelbase + (front - rear) * tan)
    return (wheelbase - x + (height - front) * tan) / (wheelbase + (rear - front) * tan)


def cg_height(share: float, x: float, angle: float, wheelbase: float, radii: tuple[float, float], on: str) -> float:
    """Height (m) over the ground from the share on the axle left on the scale: :func:`axle_share` solved for it."""
    front, rear = radii
    tan = math.tan(angle)
    if on == "front":
        return rear + (share * (wheelbase + (front - rear) * tan) - x) / tan
    return front + (share * (wheelbase + (rear - front) * tan) - (wheelbase - x)) / tan


def spring_lean(
    sprung_share: float, arm: float, weight: float, height_over_axles: float, axle_rates: tuple[float, float],
    base: float,
) -> float:
    """How much too high (m) the lift method reads on free springs, whatever the angle.

    The load moved to the scale's axle, ``W (h - r) tan a / l``, presses its springs and frees the others; the chassis
    turns by that over both rates and the wheelbase, and its weight moves towards the scale by ``arm`` times the turn.
    Moved weight and lift grow with the same tangent, so to first order the reading is off by a constant that no trend
    betrays. An upper bound: links take part of the load, and the upper springs lift the truck out of its squat.

    :param sprung_share: sprung over whole mass.
    :param arm: m of the sprung centre of gravity over the axles.
    :param axle_rates: N/m at the wheels of the whole front and rear axle.
    """
    yielding = 1.0 / axle_rates[0] + 1.0 / axle_rates[1]
    return sprung_share * arm * weight * height_over_axles * yielding / base**2
