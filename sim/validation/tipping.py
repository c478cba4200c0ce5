"""Tilt table: where trucks tip over, rigid ones against the formula, soft ones before it."""

from __future__ import annotations

import math

import numpy as np

from models.assemble import rigid_model
from models.rigid import WHEEL_BODIES, RigidModel
from models.stability import tip_angles
from sim.trial.tilt_table import lift_off, standing
from sim.validation.check import Group, Measured, absolute, at_most
from sim.validation.truck import FINE, names, random_sheet, rigid, truck, with_grip

GROUP = Group("tipping", "Tipping over on a tilt table")
SSF = "static stability factor, NHTSA, 65 FR 34998 (1 June 2000), ch. V"
BUILDS = 10


def formula(model: RigidModel, low: str) -> float:
    """Rigid tilt angle, deg: atan of the lever over the height of the centre of gravity."""
    contacts = model.origins()[list(WHEEL_BODIES), :2]
    return float(getattr(tip_angles(contacts, model.cg()).in_degrees(), low))


def simulated(model: RigidModel, low: str, *, step: float, near: float) -> float:
    """Tilt at lift-off, deg."""
    with standing(model, step=step, rest=0.5) as simulation:
        return math.degrees(lift_off(simulation, low, math.radians(near)))


def _rigid(low: str, count: int) -> Measured:
    trucks = [rigid_model(random_sheet(seed)) for seed in range(count)]
    want = [formula(model, low) for model in trucks]
    got = [simulated(rigid(m), low, step=FINE, near=w) for m, w in zip(trucks, want, strict=True)]
    error = np.array(got) - np.array(want)
    return Measured(want, got, f"mean error {error.mean():+.2f} deg over {min(want):.0f}–{max(want):.0f} deg")


_HARD = "hard discs still give 0.1 mm (0.1 deg of lean), and the table turns 1.5 deg/s with a 30 ms average (0.05 deg)"


@GROUP.check("rigid side tip", f"A rigid truck on a tilting plane tips at atan(T / 2h): {BUILDS} random builds",
             source=SSF, known="read",
             unit="deg", tolerance=absolute(0.3, _HARD), slow=True)
def rigid_side_tip() -> Measured:
    """Left side low."""
    return _rigid("left", BUILDS)


@GROUP.check("rigid pitch-over, climb", "A rigid truck nose up pitches over at atan(a2 / h): 4 random builds",
             source="Jazar, Vehicle Dynamics (Springer 2008), p. 46, ex. 46", known="read",
             unit="deg", tolerance=absolute(0.3, _HARD), slow=True)
def rigid_climb_tip() -> Measured:
    """Brake on, tyres that do not slide."""
    return _rigid("back", 4)


@GROUP.check("rigid pitch-over, descent", "A rigid truck nose down pitches over at atan(a1 / h): 4 random builds",
             source="Jazar, Vehicle Dynamics (Springer 2008), p. 48", known="read",
             unit="deg", tolerance=absolute(0.3, _HARD), slow=True)
def rigid_descent_tip() -> Measured:
    """Brake on, tyres that do not slide."""
    return _rigid("front", 4)


def _soft(low: str) -> Measured:
    trucks = [with_grip(truck(name), 5.0) for name in names()]
    want = [formula(model, low) for model in trucks]
    got = [simulated(m, low, step=1.0e-3, near=w - 12.0) for m, w in zip(trucks, want, strict=True)]
    lost = ", ".join(f"{name} {w - g:.1f}" for name, w, g in zip(names(), want, got, strict=True))
    return Measured(want, got, f"lost to springs and tyres: {lost} deg")


_TTR = "TRB Special Report 265 (2002), ch. 2, p. 28: tilt-table ratio of a compliant vehicle < T / 2h"


@GROUP.check("soft side tip", "With its real springs and tyres every truck tips earlier than the formula says",
             source=_TTR, known="read",
             unit="deg", tolerance=at_most(0.0, "an inequality"), slow=True)
def soft_side_tip() -> Measured:
    """Reports how much earlier."""
    return _soft("left")


@GROUP.check("soft pitch-over, climb",
             "With its real springs and tyres every truck pitches over backwards earlier than the formula says",
             source=_TTR + " (there for the side)", known="derived here",
             unit="deg", tolerance=at_most(0.0, "an inequality"), slow=True)
def soft_climb_tip() -> Measured:
    """Reports how much earlier."""
    return _soft("back")
