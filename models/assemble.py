"""From a build sheet to the rigid model: every body, joint and force element of the truck, in SI."""

from __future__ import annotations

import math

import numpy as np

from models.configuration import content_hash
from models.defaults import resolve
from models.drive import drive_train, steering
from models.hullform import Feeler, feelers
from models.linkage import AxleMotion, MotionAxis, axle_motion, axle_rods
from models.massprops import GRAVITY, MassProperties, body_properties, combined, wheel_loads
from models.required import required
from models.rigid import (
    BODY_NAMES,
    PARENTS,
    Body,
    HullPoints,
    RigidModel,
    ShockLine,
    TyreRing,
    kingpin_inertia,
    origins,
)
from models.spec import Axle, Sheet
from models.stance import Stance, stances
from models.suspension import SprungAxle
from models.tyre import WheelState, tyre_ring
from models.vector import Vector

HEAVE_SHARE = 0.01
"""Part of the axle's mass and inertia lent to the heave arm, which stands for no part but may not be massless."""
HULL_SINK = 0.0003
"""m that one feeler gives under the whole truck's weight, where the time step allows."""
HULL_STABLE = 0.25
"""Largest k dt^2 / m of a feeler against the mass it has to move."""


def rigid_model(sheet: Sheet) -> RigidModel:
    """Assemble the truck of a build sheet, standing at ride height on its squished tyres.

    What the sheet leaves open is filled in as :func:`models.defaults.resolve` does.

    :raises BuildSheetError: links that do not hold an axle, shocks that cannot carry it, a tyre without a squish
        table or stiffness, a body without mass, an unreadable mesh.
    """
    sheet = resolve(sheet)
    masses = body_properties(sheet)
    front, rear = stances(sheet, wheel_loads(sheet))
    sprung = sprung_axles(masses, front, rear)
    bodies = _bodies(masses, (front, rear), [s.motion for s in sprung])
    places = origins(bodies)
    spin = float(min(bodies[4].I_BBcm[1, 1], bodies[9].I_BBcm[1, 1]))
    shocks: list[ShockLine] = [line for s in sprung for line in s.shock_lines(places[s.body])]
    return RigidModel(
        name=sheet.name,
        config_hash=content_hash(sheet),
        scale=sheet.scale,
        wheelbase=(front.axle.x_mm - rear.axle.x_mm) / 1000.0,
        track=(front.axle.track_mm / 1000.0, rear.axle.track_mm / 1000.0),
        bodies=bodies,
        tyres=_tyres(sheet, front, rear, bodies),
        shocks=tuple(shocks),
        drive=drive_train(sheet, spin),
        steering=steering(sheet, kingpin_inertia(bodies)),
        hull=_hull(feelers(sheet), masses, places),
    )


def sprung_axles(masses: dict[str, MassProperties], front: Stance, rear: Stance) -> list[SprungAxle]:
    """Hang both axles on their links and shocks.

    :raises BuildSheetError: links that do not hold an axle.
    """
    return [_sprung("front", 2, front, masses), _sprung("rear", 8, rear, masses)]


def _sprung(which: str, body: int, stance: Stance, masses: dict[str, MassProperties]) -> SprungAxle:
    motion = axle_motion(axle_rods(stance.axle, stance.height), f"axles.{which}.links")
    unsprung = combined(mass for name, mass in masses.items() if name.startswith(which))
    return SprungAxle(which, stance.axle, motion, 2.0 * stance.load, unsprung, body)


def _bodies(
    masses: dict[str, MassProperties], stances: tuple[Stance, Stance], motions: list[AxleMotion]
) -> tuple[Body, ...]:
    places: dict[str, Vector] = {"chassis": np.zeros(3)}
    axes: dict[str, MotionAxis] = {}
    for which, stance, motion in zip(("front", "rear"), stances, motions, strict=True):
        places[f"{which}_heave_arm"], axes[f"{which}_heave_arm"] = motion.heave.point, motion.heave
        places[f"{which}_axle"], axes[f"{which}_axle"] = motion.roll.point, motion.roll
        x, half_track = stance.axle.x_mm / 1000.0, stance.axle.track_mm / 2000.0
        for side, sign in (("left", 1.0), ("right", -1.0)):
            hub = np.array([x, sign * half_track, stance.height])
            places[f"{which}_{side}_wheel"] = hub
            axes[f"{which}_{side}_wheel"] = MotionAxis("revolute", hub, np.array([0.0, 1.0, 0.0]), 0.0)
            if which == "front":
                pin_y = required(stance.axle.kingpin_y_mm, "axles.front.kingpin_y_mm") / 1000.0
                pin = np.array([x, sign * pin_y, stance.height])
                places[f"front_{side}_knuckle"] = pin
                axes[f"front_{side}_knuckle"] = MotionAxis("revolute", pin, _kingpin(stance.axle, sign), 0.0)
    bodies = []
    for name, parent in zip(BODY_NAMES, PARENTS, strict=True):
        mass = _own_mass(name, masses, places[name])
        axis = axes.get(name)
        bodies.append(Body(
            name=name,
            parent=parent,
            joint="free" if axis is None else axis.kind,
            p_PJ=np.zeros(3) if axis is None else places[name] - places[BODY_NAMES[parent]],
            axis=np.array([0.0, 0.0, 1.0]) if axis is None else axis.direction,
            mass=mass.mass,
            p_BBcm=mass.cg - places[name],
            I_BBcm=mass.inertia,
        ))
    return tuple(bodies)


def _own_mass(name: str, masses: dict[str, MassProperties], origin: Vector) -> MassProperties:
    """Mass of one body of the tree: the axle lends a share to its heave arm, and wheels are in balance."""
    if name.endswith(("_heave_arm", "_axle")):
        axle = masses[name.split("_")[0] + "_axle"]
        share = HEAVE_SHARE if name.endswith("_heave_arm") else 1.0 - HEAVE_SHARE
        return MassProperties(share * axle.mass, axle.cg, share * axle.inertia)
    mass = masses[name]
    if name.endswith("_wheel"):
        # The sheet puts a wheel's parts at a height read off a ruler; a wheel that is out of balance by the
        # squish of its tyre is not meant.
        return MassProperties(mass.mass, np.array([origin[0], mass.cg[1], origin[2]]), mass.inertia)
    return mass


def _kingpin(axle: Axle, side: float) -> Vector:
    """Unit kingpin axis, upwards: inclination leans its top inwards, caster leans it back (ISO 8855)."""
    lean = np.array([
        -math.tan(math.radians(axle.caster_deg)),
        -side * math.tan(math.radians(axle.kingpin_inclination_deg)),
        1.0,
    ])
    return np.asarray(lean / np.linalg.norm(lean))


def _tyres(
    sheet: Sheet, front: Stance, rear: Stance, bodies: tuple[Body, ...]
) -> tuple[TyreRing, TyreRing, TyreRing, TyreRing]:
    rings = []
    for tyre, stance, body in ((sheet.tyres.front, front, bodies[4]), (sheet.tyres.rear, rear, bodies[9])):
        wheel = WheelState(stance.load, stance.load / GRAVITY, float(body.I_BBcm[1, 1]))
        rings.append(tyre_ring(tyre, stance.shape, stance.law, wheel))
    return rings[0], rings[0], rings[1], rings[1]


def _hull(found: list[Feeler], masses: dict[str, MassProperties], places: Vector) -> HullPoints:
    """Give each feeler the stiffness that bears the truck on ``HULL_SINK``, or what its body's mass allows."""
    weight = sum(mass.mass for mass in masses.values()) * GRAVITY
    movers = {
        "chassis": masses["chassis"],
        "front_axle": combined(m for name, m in masses.items() if name.startswith("front")),
        "rear_axle": combined(m for name, m in masses.items() if name.startswith("rear")),
    }
    names = tuple(dict.fromkeys(f.name for f in found))
    body = np.array([BODY_NAMES.index(f.body) for f in found], dtype=np.int64)
    stiffness = [min(weight / HULL_SINK, HULL_STABLE * _moved(movers[f.body], f) / 1e-6) for f in found]
    return HullPoints(
        body=body,
        p_root=np.array([f.root for f in found]).reshape(-1, 3) - places[body],
        p_tip=np.array([f.tip for f in found]).reshape(-1, 3) - places[body],
        stiffness=np.array(stiffness),
        grip=np.array([f.grip for f in found]),
        part=np.array([names.index(f.name) for f in found], dtype=np.int64),
        names=names,
    )


def _moved(mass: MassProperties, feeler: Feeler) -> float:
    """Mass (kg) that a push along the feeler feels on a free body: 1 / (1/m + (r x n) . I^-1 (r x n))."""
    along = (feeler.tip - feeler.root) / np.linalg.norm(feeler.tip - feeler.root)
    arm = np.cross(feeler.tip - mass.cg, along)
    return float(1.0 / (1.0 / mass.mass + arm @ np.linalg.solve(mass.inertia, arm)))
