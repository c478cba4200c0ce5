"""A truck on a tilt table: where it tips with its real springs and tyres, to all four sides."""

from __future__ import annotations

import math
from dataclasses import replace

from models.rigid import WHEEL_BODIES, RigidModel
from models.stability import TipAngles, tip_angles
from sim.validation.bench import lift_off, standing

STICKY = 5.0
"""Grip with which nothing slides before it tips."""
EARLY_DEG = 15.0
"""How far before the rigid truck's angle the table starts to turn slowly: springs and tyres cost less than that."""


def tilted(model: RigidModel) -> TipAngles:
    """Tilt (deg) at which the high wheels leave the table, simulated; NaN where they do not."""
    sticky = replace(model, tyres=tuple(replace(ring, grip=STICKY) for ring in model.tyres))  # type: ignore[arg-type]
    contacts = model.origins()[list(WHEEL_BODIES), :2]
    rigid = tip_angles(contacts, model.cg())
    found = []
    for low in ("left", "right", "back", "front"):
        near = max(getattr(rigid, low) - math.radians(EARLY_DEG), 0.0)
        with standing(sticky, step=1.0e-3, rest=0.5) as simulation:
            found.append(math.degrees(lift_off(simulation, low, near)))
    return TipAngles(*found)
