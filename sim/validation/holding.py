"""Standing and sliding: tyre deflection at rest, creep, and the slope at which grip gives out."""

from __future__ import annotations

import math

import numpy as np

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from models.tyre import plate_table
from sim.physics.arrays import W_NORMAL
from sim.trial.tilt_table import cg_place, gravity_towards, standing, turn_to
from sim.validation.check import Group, Measured, absolute, at_most, relative
from sim.validation.truck import names, sheet, truck, with_grip

GROUP = Group("holding", "Standing and sliding")
PHASES = 4
"""Turns of the wheel within one spacing of tread elements that a settled deflection is averaged over."""
START = 2.0e-3
"""m/s downhill that count as sliding."""


def settled_squish(model: RigidModel, load: float, phase: float) -> tuple[float, float]:
    """Deflection (m) and load (N) of the front tyres, mean of both, under gravity that brings them to this load.

    ``phase``: part of the elements' spacing by which the wheels are turned.
    """
    with standing(model, rest=0.0, phase=phase) as simulation:
        share = float(model.cg()[0]) / model.wheelbase / 2.0
        simulation.set_gravity((0.0, 0.0, -load / (share * model.mass)))
        simulation.advance(1500)
        wheels = simulation.points[0, list(WHEEL_BODIES[:2]), 2]
        carried = simulation.wheels[:2, W_NORMAL]
    return float(model.tyres[0].row_radius.max() - wheels.mean()), float(carried.mean())


@GROUP.check("squish at rest",
             "A truck at rest squishes its front tyres as its own table says, every row of three tables",
             source="the build sheet's squish table, which the law was fitted to", known="derived here",
             unit="mm", tolerance=relative(0.02, "a kitchen scale and a caliper are no better"), slow=True)
def squish_at_rest() -> Measured:
    """Gravity is scaled until the tyres carry the row's load."""
    want, got, spread = [], [], 0.0
    for name in names():
        model = truck(name)
        for d, load in zip(*plate_table(sheet(name).tyres.front), strict=True):
            found = []
            for phase in np.arange(PHASES) / PHASES:
                squish, carried = settled_squish(model, float(load), float(phase))
                # Loads differ a little from the row's: bring the deflection to it along the table.
                rows = plate_table(sheet(name).tyres.front)
                squish += float(np.interp(load, rows[1], rows[0]) - np.interp(carried, rows[1], rows[0]))
                found.append(squish)
            want.append(1000.0 * float(d))
            got.append(1000.0 * float(np.mean(found)))
            spread = max(spread, (max(found) - min(found)) / float(d))
    return Measured(want, got, f"single positions of the wheel spread by up to {100 * spread:.1f} %")


def _crept(name: str, angle: float, low: str) -> float:
    """Movement of the centre of gravity in 10 s on a slope, m."""
    with standing(with_grip(truck(name), 1.2)) as simulation:
        turn_to(simulation, low, 0.0, math.radians(angle), math.radians(15.0))
        simulation.advance(2000)
        start = cg_place(simulation)
        simulation.advance(10_000)
        return float(np.linalg.norm(cg_place(simulation) - start))


@GROUP.check(
    "no creep",
    "A truck at rest with its brake on moves less than 0.1 mm in 10 s: 30 deg climb, 20 deg side slope, three trucks",
    source="static friction holds still (Coulomb)", known="derived here",
    unit="mm", tolerance=at_most(0.0, "a tenth of a millimetre is what a builder could see"), slow=True,
)
def no_creep() -> Measured:
    """Largest of all."""
    got = [1000.0 * _crept(name, a, low) for name in names() for a, low in ((30.0, "back"), (20.0, "left"))]
    return Measured([0.1] * len(got), got)


def slide_angle(model: RigidModel, low: str, near: float) -> float:
    """Slope (rad) at which the truck starts to slide, table turned 0.4 deg/s from 1.5 deg before ``near``."""
    with standing(model) as simulation:
        angle = turn_to(simulation, low, 0.0, near - math.radians(1.5), math.radians(15.0))
        simulation.advance(1000)
        axis = 1 if low in ("left", "right") else 0
        before = cg_place(simulation)[axis]
        while angle < near + math.radians(4.0):
            angle += math.radians(0.4) * 0.01
            simulation.set_gravity(gravity_towards(angle, low))
            simulation.advance(10)
            now = cg_place(simulation)[axis]
            if abs(now - before) / 0.01 > START:
                return angle
            before = now
    return math.nan


@GROUP.check(
    "grip limit",
    "A truck with locked wheels starts to slide at tan(angle) = mu: three trucks, mu 0.4, 0.6, sideways and nose up",
    source="Coulomb friction; Jazar, Vehicle Dynamics (Springer 2008), eq. 2.69 for all wheels at the limit",
    known="read",
    unit="tan", tolerance=relative(0.01, "2 mm/s downhill is reached 0.1 deg after the limit at this table's speed"),
    slow=True,
)
def grip_limit() -> Measured:
    """Grip exponent 0."""
    want, got = [], []
    for name in names():
        for mu in (0.4, 0.6):
            for low in ("left", "back"):
                want.append(mu)
                got.append(math.tan(slide_angle(with_grip(truck(name), mu), low, math.atan(mu))))
    return Measured(want, got)


@GROUP.check("wheel loads at rest",
             "Wheel loads of a truck at rest, front share, against the weighed one: three trucks",
             source="moments about the rear contact; Jazar (2008), eqs. 2.1-2.2", known="read",
             unit="% front",
             tolerance=absolute(0.3, "the truck settles nose up or down by its springs' and tyres' own imbalance"))
def loads_at_rest() -> Measured:
    """Static front share."""
    want, got = [], []
    for name in names():
        model = truck(name)
        with standing(model) as simulation:
            loads = simulation.wheels[:, W_NORMAL]
            assert abs(loads.sum() / (model.mass * GRAVITY) - 1.0) < 1e-3
            got.append(100.0 * float(loads[:2].sum() / loads.sum()))
        want.append(100.0 * float(model.cg()[0]) / model.wheelbase)
    return Measured(want, got)
