"""How close the force elements of a model come to what an explicit time step can bear.

A spring of stiffness k on a mass m, stepped with semi-implicit Euler at dt, is stable for ``k dt^2 / m < 4`` and
follows the motion well below 1; a damper is stable for ``c dt / m < 2``. Masses are those that the element really
has to move, seen from where it acts.
"""

from __future__ import annotations

import numpy as np

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel, kingpin_inertia
from models.tyre import rows_load, tabulated

BOUND = 0.5
"""Largest ratio that the makers of the force elements allow."""


def step_ratios(model: RigidModel, time_step: float = 1e-3) -> dict[str, float]:
    """Give ``k dt^2 / m`` (or ``c dt / m``) of the stiffest element of each kind, standing on level ground."""
    ratios: dict[str, float] = {}

    def note(name: str, value: float) -> None:
        ratios[name] = max(ratios.get(name, 0.0), float(value))

    cg = model.cg()
    for wheel, (ring, index) in enumerate(zip(model.tyres, WHEEL_BODIES, strict=True)):
        share = cg[0] / model.wheelbase if wheel < 2 else 1.0 - cg[0] / model.wheelbase
        carried = 0.5 * share * model.mass
        radius = float(ring.row_radius.max())
        height = float(model.origins()[index, 2])
        spin = float(model.bodies[index].I_BBcm[1, 1])
        tread = 1.0 / (1.0 / carried + radius**2 / spin)
        along = ring.stiffness_along(_touching(model, wheel, height))
        note("tyre along the ground", along * time_step**2 / tread)
        note("tyre damping", ring.damping_time * along * time_step / tread)
        law = tabulated(ring.law_step, ring.law_force)
        h = 0.02 * (radius - height) + 1e-5
        slope = rows_load(ring.row_radius, ring.n_round, law, height - h)
        slope -= rows_load(ring.row_radius, ring.n_round, law, height + h)
        # Bouncing on the tyre moves the wheel and half its axle, not the sprung mass.
        axle = model.bodies[2 if wheel < 2 else 8].mass
        note("tyre upright", slope / (2.0 * h) * time_step**2 / (model.bodies[index].mass + 0.5 * axle))
        note("drive shaft", model.drive.shaft_stiffness * time_step**2 / spin)
        note("drive shaft damping", model.drive.shaft_damping * time_step / spin)
    steered = kingpin_inertia(model.bodies)
    note("drag link", model.steering.stiffness * time_step**2 / steered)
    note("drag link damping", model.steering.damping * time_step / steered)
    for line in model.shocks:
        own = (1, 2, 3, 4, 5, 6) if line.axle_body == 2 else (7, 8, 9, 10)
        unsprung = sum(model.bodies[i].mass for i in own)
        note("shock stop", line.stop_rate * time_step**2 / (0.5 * unsprung))
        note("shock damping", line.damping * time_step / (0.5 * unsprung))
    note("feeler", float(np.max(model.hull.stiffness, initial=0.0)) * time_step**2 / model.mass)
    return ratios


def servo_twist(model: RigidModel) -> float:
    """Angle (rad) by which the full servo torque, shared by both knuckles, winds up the drag links."""
    return model.steering.stall_torque / 2.0 / model.steering.stiffness


def hull_sink(model: RigidModel) -> float:
    """Depth (m) to which the truck's weight presses its softest feeler."""
    return float(model.mass * GRAVITY / np.min(model.hull.stiffness))


def _touching(model: RigidModel, wheel: int, height: float) -> float:
    ring = model.tyres[wheel]
    reach = np.clip(height / ring.row_radius, -1.0, 1.0)
    return float(np.sum(np.arccos(reach)) * ring.n_round / np.pi)
