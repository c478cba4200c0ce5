"""Natural frequencies on tyres and on shocks, and the settled load paths behind them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.assemble import rigid_model
from models.massprops import GRAVITY
from models.rigid import RigidModel
from models.tyre import fit_tyre, plate_stiffness, static_squish
from sim.physics.arrays import S_SPIN, S_VEL
from sim.physics.tyre_pressure import STRIDE
from sim.trial.tilt_table import cg_place, standing
from sim.validation.check import Group, Measured, relative
from sim.validation.motion import freewheeling
from sim.validation.truck import FINE, locked_suspension, names, rigid_tyres, sheet, with_grip, without_hull

GROUP = Group("bouncing", "Bouncing on tyres and shocks")
Array = NDArray[np.float64]
SWING = 0.1
"""Amplitude over the tyre's own squish: its spring is still a straight line."""


def modes(
    mass: float, inertia: float, rates: tuple[float, float], arms: tuple[float, float]
) -> list[tuple[float, Array]]:
    """Frequencies (Hz) and shapes (z, pitch nose-down) of a beam on two springs; ``rates`` N/m, ``arms`` m from the CG.

    Two degrees of freedom: m z'' and I p'' from both springs' forces and moments about the centre of gravity.
    """
    (kf, kr), (a, b) = rates, arms
    stiffness = np.array([[kf + kr, -kf * a + kr * b], [-kf * a + kr * b, kf * a * a + kr * b * b]])
    values, shapes = np.linalg.eig(np.linalg.solve(np.diag([mass, inertia]), stiffness))
    return [(math.sqrt(float(v)) / (2.0 * math.pi), shapes[:, i]) for i, v in enumerate(values)]


def ringing(
    model: RigidModel, shape: Array, inertias: tuple[float, float], step: float, *, kick: float, swings: int = 6,
    x: float = 0.0,
) -> float:
    """Frequency (Hz) of a standing truck kicked along a mode's shape, from upward zero crossings of that mode.

    ``kick``: m/s given to the centre of gravity. ``x``: where it stands, m.
    ``inertias``: mass (kg) and pitch inertia (kg m^2), with which the modes are normal to each other.
    """
    shape = shape / np.abs(shape[0]) if abs(shape[0]) > 1e-9 else shape
    with standing(model, step=step, rest=1.0, x=x) as simulation:
        simulation.command(0.0, 0.0, False)
        simulation.advance(round(0.3 / step))
        rest = cg_place(simulation)
        nose = simulation.frames[0, 2, 0]
        engine, state = simulation.engine, simulation.state
        engine.read(state)
        state[S_VEL + 2] += kick * shape[0]
        state[S_SPIN + 1] += kick * shape[1]
        # The engine's base frame is the chassis' own centre of gravity: add what turning about the truck's gives it.
        state[S_VEL + 2] += kick * shape[1] * (rest[0] - state[0])
        engine.reset(state)
        times, old = [], 0.0
        for k in range(round(2.0 / step)):
            simulation.advance(1)
            z = cg_place(simulation)[2] - rest[2]
            pitch = -(simulation.frames[0, 2, 0] - nose)
            now = float(inertias[0] * z * shape[0] + inertias[1] * pitch * shape[1])
            if old < 0.0 <= now:
                times.append((k - now / (now - old)) * step)
                if len(times) == swings:
                    break
            old = now
    return (len(times) - 1) / (times[-1] - times[0]) if len(times) > 2 else math.nan


def _undamped_tyres(model: RigidModel) -> RigidModel:
    tyres = [replace(t, damping_time=1.0e-3 * t.damping_time) for t in model.tyres]
    return replace(model, tyres=(tyres[0], tyres[1], tyres[2], tyres[3]))


def _pitch_inertia(model: RigidModel) -> float:
    """About the lateral axis through the truck's centre of gravity, kg m^2."""
    centre = model.cg()
    total = 0.0
    for body, origin in zip(model.bodies, model.origins(), strict=True):
        arm = origin + body.p_BBcm - centre
        total += float(body.I_BBcm[1, 1]) + body.mass * float(arm[0] ** 2 + arm[2] ** 2)
    return total


@GROUP.check(
    "bounce on tyres",
    "A truck with locked suspension bounces on its tyres as a beam on two springs of the tyres' plate stiffness",
    source="equations of motion of a beam on two springs, lift and pitch", known="derived here",
    unit="Hz", tolerance=relative(0.02, "a swing of a tenth of the squish sees the law curved"), slow=True,
)
def bounce_on_tyres() -> Measured:
    """Mode with the larger lift."""
    want, got, spread = [], [], []
    for name in names():
        model = rigid_model(sheet(name))
        centre = model.cg()
        loads = model.mass * GRAVITY * np.array([centre[0], model.wheelbase - centre[0]]) / model.wheelbase / 2.0
        rates = []
        for tyre, load in zip((sheet(name).tyres.front, sheet(name).tyres.rear), loads, strict=True):
            shape, law = fit_tyre(tyre)
            squish = static_squish(shape, law, float(load))
            rates.append(2.0 * plate_stiffness(shape, law, squish))
        arms = (model.wheelbase - float(centre[0]), float(centre[0]))
        inertia = _pitch_inertia(model)
        found = modes(model.mass, inertia, (rates[0], rates[1]), arms)
        frequency, shape_ = max(found, key=lambda m: abs(m[1][0]))
        stiff = locked_suspension(without_hull(_undamped_tyres(freewheeling(with_grip(model, 1.0)))))
        want.append(frequency)
        kick = SWING * squish * 2.0 * math.pi * frequency
        # The field is the same all round: what could matter is where the grid lies under the wheel.
        piece = STRIDE * float(model.tyres[0].row_radius.max())
        rang = [
            ringing(stiff, shape_, (model.mass, inertia), FINE, kick=kick, x=part * piece) for part in (0.0, 0.33, 0.67)
        ]
        got.append(float(np.mean(rang)))
        spread.append(f"{name} {min(rang):.1f}–{max(rang):.1f}")
    return Measured(want, got, f"over places on the grid: {', '.join(spread)} Hz")


@GROUP.check(
    "bounce on shocks",
    "A truck on hard discs bounces on its shocks as a beam on two springs: rate times motion ratio squared",
    source="equations of motion of a beam on two springs, lift and pitch", known="derived here",
    unit="Hz",
    tolerance=relative(0.05, "axles tilt and wheels roll a little as the chassis heaves, which the beam leaves out"),
    slow=True,
)
def bounce_on_shocks() -> Measured:
    """Sprung mass; damping a tenth of the sheet's."""
    want, got = [], []
    for name in names():
        model = rigid_model(sheet(name))
        softly = tuple(replace(s, damping=0.1 * s.damping) for s in model.shocks)
        chassis = model.bodies[0]
        rates = [2.0 * _vertical_rate(model, axle) for axle in (2, 8)]
        arms = (model.wheelbase - float(chassis.p_BBcm[0]), float(chassis.p_BBcm[0]))
        found = modes(chassis.mass, float(chassis.I_BBcm[1, 1]), (rates[0], rates[1]), arms)
        frequency, shape = max(found, key=lambda m: abs(m[1][0]))
        # Axles move along as they rise; wheels coupled by shafts would resist it and stiffen the bounce by a sixth.
        loose = replace(model.drive, shaft_stiffness=1.0e-9, shaft_damping=0.0)
        hard = without_hull(with_grip(rigid_tyres(replace(model, shocks=softly, drive=loose)), 1.0))
        want.append(frequency)
        got.append(ringing(hard, shape, (chassis.mass, float(chassis.I_BBcm[1, 1])), FINE, kick=8.0e-3))
    return Measured(want, got)


def _vertical_rate(model: RigidModel, axle: int) -> float:
    """Rate (N/m) of one shock over the lift of the axle's middle against the chassis, from the heave joint."""
    shock = next(s for s in model.shocks if s.axle_body == axle)
    arm = model.bodies[axle - 1]
    origins = model.origins()
    foot = origins[axle] + shock.p_axle
    wheel = 4 if axle == 2 else 9
    middle = origins[wheel] * np.array([1.0, 0.0, 1.0])

    def speed(point: Array) -> Array:
        if arm.joint == "prismatic":
            return arm.axis
        return np.cross(arm.axis, point - origins[axle - 1])

    line = (foot - shock.p_chassis) / np.linalg.norm(foot - shock.p_chassis)
    ratio = float(-line @ speed(foot)) / float(speed(middle)[2])
    # The spring's own force turns with the axle; at ride height that is a small share and is left out.
    return shock.rate * ratio**2
