"""Four links: instant centre, anti-squat, roll centre, and the two joints against the closed loop."""

from __future__ import annotations

import math

import numpy as np

from models.linkage import (
    Rods,
    anti_squat_percent,
    axle_motion,
    axle_rods,
    instant_centre,
    roll_centre_height,
)
from models.linkage_exact import full_travel_error, joint_error
from models.rigid import WHEEL_BODIES
from sim.validation.check import Group, Measured, absolute, at_most
from sim.validation.truck import names, sheet, truck

GROUP = Group("linkage", "Four-link suspension")
Point = tuple[float, float, float]
LOWER = ((0.0, 0.02, 0.045), (0.120, 0.02, 0.055))
UPPER = ((-0.005, 0.005, 0.085), (0.095, 0.030, 0.080))
UPPER_ANGLED = ((0.0, 0.015, 0.085), (0.100, 0.050, 0.080))


def pairs(*left: tuple[Point, Point], z: float = 0.05) -> Rods:
    """Rods of the left side (axle end, chassis end; m) and their mirror images."""
    both = [*left, *(((a[0], -a[1], a[2]), (c[0], -c[1], c[2])) for a, c in left)]
    return Rods(np.array([a for a, _ in both]), np.array([c for _, c in both]), np.array([0.0, 0.0, z]))


@GROUP.check("instant centre",
             "Side view: lower (0, 45)-(120, 55), upper (-5, 85)-(95, 80) mm cross at (298.125, 69.844)",
             source="plane geometry", known="derived here",
             unit="m", tolerance=absolute(5e-7, "the printed digits"))
def centre() -> Measured:
    """From the null space of the rods."""
    found = instant_centre(axle_motion(pairs(LOWER, UPPER))) or (math.nan, math.nan)
    return Measured((0.298125, 0.069844), found)


@GROUP.check(
    "anti-squat", "The same links, height 80, wheelbase 300 mm: all drive at this axle, and half of it",
    source="moments about the instant centre: its slope from the contact over h / l, by share of drive; own numbers",
    known="derived here",
    unit="%", tolerance=absolute(1e-3, "the printed digits"),
)
def anti_squat() -> Measured:
    """87.854 and 43.927 %."""
    motion = axle_motion(pairs(LOWER, UPPER))
    return Measured((87.854, 43.927), [anti_squat_percent(motion, 0.08, 0.30, d, rear=True) for d in (1.0, 0.5)])


@GROUP.check("roll centre",
             "Uppers angled to an apex, lowers parallel: the roll axis crosses the wheel plane 90.714 mm high",
             source="plane geometry: through the uppers' apex, along the parallel lowers, to the wheel plane",
             known="derived here",
             unit="m", tolerance=absolute(5e-7, "the printed digits"))
def roll_centre() -> Measured:
    """From the null space of the rods."""
    return Measured((0.090714,), (roll_centre_height(axle_motion(pairs(LOWER, UPPER_ANGLED))),))


def _rods(name: str, end: str) -> Rods:
    axles = sheet(name).axles
    axle = axles.front if end == "front" else axles.rear
    height = truck(name).origins()[WHEEL_BODIES[0 if end == "front" else 2], 2]
    return axle_rods(axle, float(height))


@GROUP.check("joints and closed loop, crawling travel",
             "Over half the bump and droop and 10 deg of roll the two joints keep near the closed loop's axle middle",
             source="Newton's method on the four rod lengths", known="derived here",
             unit="mm", tolerance=at_most(0.0, "under a millimetre: less than anyone sets a link by"), slow=True)
def half_travel() -> Measured:
    """Six axles of three trucks."""
    got, turned = [], 0.0
    for name in names():
        for end in ("front", "rear"):
            shock = getattr(sheet(name).axles, end).shock
            error = joint_error(_rods(name, end), shock.bump_mm / 2000.0, shock.droop_mm / 2000.0, math.radians(10.0))
            got.append(1000.0 * error.shift)
            turned = max(turned, math.degrees(max(error.steer, error.pitch)))
    return Measured([1.0] * len(got), got, f"axle turned off by up to {turned:.2f} deg")


@GROUP.check("joints and closed loop, full travel",
             "Over full bump, droop and articulation the two joints leave the closed loop's axle middle by this much",
             source="Newton's method on the four rod lengths", known="derived here",
             unit="% of wheelbase",
             tolerance=at_most(0.0, "one percent of the wheelbase moves a climb angle by under half a degree"))
def full_travel() -> Measured:
    """Six axles of three trucks; millimetres and degrees in the note."""
    got, words = [], []
    for name in names():
        for end in ("front", "rear"):
            height = float(truck(name).origins()[WHEEL_BODIES[0 if end == "front" else 2], 2])
            error = full_travel_error(getattr(sheet(name).axles, end), height)
            got.append(100.0 * error.shift / truck(name).wheelbase)
            turned = math.degrees(max(error.steer, error.pitch))
            words.append(f"{name} {end} {1000 * error.shift:.1f} mm {turned:.1f} deg")
    return Measured([1.0] * len(got), got, "; ".join(words))
