"""What can be said of a truck without driving it: the handbook numbers, each with its formula, source and limits.

The record speaks the bench's units, which stand in its keys; it is worked out in SI.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.articulation import ramp_travel
from models.assemble import rigid_model, sprung_axles
from models.clearance import Wheel, clearance
from models.defaults import resolve
from models.drive import KGCM, front_lead, stall_torque
from models.equilibrium import NoRestError, level, ride_drop
from models.footprint import level_footing
from models.formulas import FORMULAS, Formula
from models.ledge import LedgeTruck, ledge_limits
from models.linkage import anti_squat_percent, roll_centre_height, roll_steer
from models.linkage_exact import OutOfReachError, full_travel_error
from models.massprops import (
    GRAVITY,
    MassProperties,
    WheelLoads,
    body_properties,
    contact_places,
    truck_properties,
    wheel_loads,
)
from models.required import required
from models.rigid import RigidModel
from models.spec import Sheet
from models.stability import TipAngles, climb_by_grip, side_by_grip, tip_angles
from models.stance import Stance, stances
from models.steergeometry import (
    FrontWheel,
    jacking_moment,
    outer_angle,
    scrub_moment,
    scrub_radius,
    turning_radius,
)
from models.traction import climb_by_torque, lead_percent, no_load_speed, wheel_torque
from models.vector import Vector


@dataclass(frozen=True)
class Statics:
    """The handbook numbers of one configuration, in bench units."""

    tip_deg: TipAngles
    """Left, right, back (climb), front (descent)."""
    stability_distance_mm: float
    """From the weight's line to the nearest edge of the footprint, level."""
    stability_rise_mm: float
    """By which the centre of gravity rises before the truck goes over its weakest edge, level."""
    climb_grip_deg: float
    side_grip_deg: float
    front_ledge_mm: float
    """Highest ledge by grip alone, axles locked together; the loaded radius stands for that and more."""
    rear_ledge_mm: float
    ledge_mm: float
    """Both axles, one after the other."""
    open_ledge_mm: float
    """The same with an open differential between the axles."""
    approach_deg: float
    departure_deg: float
    breakover_deg: float
    belly_clearance_mm: float
    """Not a number where no hull shape rides on the chassis."""
    front_axle_clearance_mm: float
    rear_axle_clearance_mm: float
    ramp_travel_index: float
    ramp_first_lift: str
    """The tyre that leaves the ground first on the ramp."""
    steer_needed_kgcm: float
    steer_available_kgcm: float
    wheel_speed_m_per_s: float
    wheel_torque_nm: float
    """All wheels together, motor at standstill."""
    climb_torque_deg: float
    overdrive_percent: float
    """By gears alone."""
    lead_percent: float
    """By gears and loaded tyres."""
    turning_radius_mm: float
    outer_steer_deg: float
    anti_squat_percent: float
    """Rear."""
    anti_lift_percent: float
    """Front, under drive."""
    front_roll_centre_mm: float
    rear_roll_centre_mm: float
    front_roll_steer: float
    """deg of steer per deg of axle roll."""
    rear_roll_steer: float
    front_drop_mm: float
    """How much lower than the sheet's ride height it stands on its springs' preload; 0 where preload is left open."""
    rear_drop_mm: float
    linkage_error_mm: float
    """How far the simulation's two joints per axle are from the closed loop of its links, at worst."""
    linkage_error_deg: float
    """The same for the axle's steer."""
    lean_deg: float
    """Lean of the chassis to its heavy side on level ground, right down positive."""

    @property
    def clearance_mm(self) -> float:
        """Smallest of belly and axle clearances that are known."""
        known = [self.belly_clearance_mm, self.front_axle_clearance_mm, self.rear_axle_clearance_mm]
        return min((c for c in known if not math.isnan(c)), default=math.nan)

    @staticmethod
    def formula(field: str) -> Formula:
        """Give formula, source and what is left out for one field of this record."""
        return FORMULAS[field]


def statics(sheet: Sheet, model: RigidModel | None = None) -> Statics:
    """Work out the handbook numbers of a sheet; pass its rigid model if it is at hand.

    The centre of gravity is that of the sheet as written. The rigid model puts each wheel's weight on its own axle at
    the loaded radius, which moves the whole by some tenths of a millimetre where the sheet has wheels elsewhere.

    :raises BuildSheetError: see :func:`models.assemble.rigid_model`.
    """
    sheet = resolve(sheet)
    model = rigid_model(sheet) if model is None else model
    front, rear = stances(sheet, wheel_loads(sheet))
    return Statics(**_stability(sheet, truck_properties(sheet).cg, model.wheelbase, front, rear),
                   **_underside(sheet, front, rear), **_ramp(model), **_steering(sheet, front),
                   **_drive(sheet, model, front, rear), **_suspension(sheet, model, front, rear),
                   **_linkage_error(sheet, front, rear), **_ride(model))


def standing_numbers(sheet: Sheet, truck: MassProperties, loads: WheelLoads) -> dict[str, Any]:
    """Give what :func:`statics` knows without solving an equilibrium: angles of tipping, sliding and underside.

    :param sheet: a resolved sheet, with its mass properties and wheel loads.
    :returns: Fields of :class:`Statics` by name.
    :raises BuildSheetError: see :func:`models.stance.stances`.
    """
    front, rear = stances(sheet, loads)
    wheelbase = (front.axle.x_mm - rear.axle.x_mm) / 1000.0
    return {**_stability(sheet, truck.cg, wheelbase, front, rear), **_underside(sheet, front, rear)}


def _stability(sheet: Sheet, cg: Vector, wheelbase: float, front: Stance, rear: Stance) -> dict[str, Any]:
    places, grips = contact_places(sheet), (front.grip, rear.grip)
    footing = level_footing(places, cg)
    share = front.load / (front.load + rear.load)
    return {
        "tip_deg": tip_angles(places, cg).in_degrees(),
        "stability_distance_mm": 1000.0 * footing.distance,
        "stability_rise_mm": 1000.0 * footing.rise,
        "climb_grip_deg": math.degrees(climb_by_grip(grips, wheelbase - cg[0], cg[0], cg[2])),
        "side_grip_deg": math.degrees(side_by_grip(grips, share)),
        **_ledge(LedgeTruck(grips, (front.height, rear.height), wheelbase, float(cg[0]), float(cg[2]))),
    }


def _ledge(truck: LedgeTruck) -> dict[str, Any]:
    locked, apart = ledge_limits(truck), ledge_limits(replace(truck, open_coupling=True))
    return {
        "front_ledge_mm": 1000.0 * locked.front,
        "rear_ledge_mm": 1000.0 * locked.rear,
        "ledge_mm": 1000.0 * locked.whole,
        "open_ledge_mm": 1000.0 * apart.whole,
    }


def _underside(sheet: Sheet, front: Stance, rear: Stance) -> dict[str, Any]:
    under = clearance(sheet, *(Wheel(s.axle.x_mm / 1000.0, s.height) for s in (front, rear)))
    return {
        "approach_deg": math.degrees(under.approach),
        "departure_deg": math.degrees(under.departure),
        "breakover_deg": math.degrees(under.breakover),
        "belly_clearance_mm": 1000.0 * under.belly,
        "front_axle_clearance_mm": 1000.0 * under.front_axle,
        "rear_axle_clearance_mm": 1000.0 * under.rear_axle,
    }


def _ramp(model: RigidModel) -> dict[str, Any]:
    try:
        ramp = ramp_travel(model)
    except NoRestError:
        return {"ramp_travel_index": math.nan, "ramp_first_lift": "unknown"}
    return {"ramp_travel_index": ramp.index, "ramp_first_lift": ramp.lifts}


def steer_torques(sheet: Sheet) -> tuple[float, float]:
    """Servo torque (kg·cm) needed to turn the wheels at rest, and what is there, as in :func:`statics`.

    :raises BuildSheetError: see :func:`models.stance.stances`.
    """
    sheet = resolve(sheet)
    found = _steering(sheet, stances(sheet, wheel_loads(sheet))[0])
    return float(found["steer_needed_kgcm"]), float(found["steer_available_kgcm"])


def _steering(sheet: Sheet, front: Stance) -> dict[str, Any]:
    axle = sheet.axles.front
    pin_y = required(axle.kingpin_y_mm, "axles.front.kingpin_y_mm") / 1000.0
    lean = math.radians(axle.kingpin_inclination_deg)
    wheel = FrontWheel(
        load=front.load,
        grip=front.grip,
        patch_area=front.patch_area,
        scrub_radius=scrub_radius(axle.track_mm / 2000.0, pin_y, front.height, lean),
        kingpin_inclination=lean,
    )
    inner, span, wheelbase = math.radians(axle.steer_deg), 2.0 * pin_y, sheet.wheelbase_mm / 1000.0
    needed = 2.0 * (scrub_moment(wheel) + max(jacking_moment(wheel, inner), 0.0))
    return {
        "steer_needed_kgcm": needed / KGCM,
        "steer_available_kgcm": stall_torque(sheet) / KGCM,
        "turning_radius_mm": 1000.0 * turning_radius(inner, span, wheelbase, axle.ackermann),
        "outer_steer_deg": math.degrees(outer_angle(inner, span, wheelbase, axle.ackermann)),
    }


def _drive(sheet: Sheet, model: RigidModel, front: Stance, rear: Stance) -> dict[str, Any]:
    torque, lead = wheel_torque(model.drive), front_lead(sheet.driveline)
    return {
        "wheel_speed_m_per_s": no_load_speed(model.drive, rear.height),
        "wheel_torque_nm": torque,
        "climb_torque_deg": math.degrees(climb_by_torque(torque, rear.height, model.mass * GRAVITY)),
        "overdrive_percent": 100.0 * (lead - 1.0),
        "lead_percent": lead_percent(front.height, rear.height, lead),
    }


def _suspension(sheet: Sheet, model: RigidModel, front: Stance, rear: Stance) -> dict[str, Any]:
    motions = [axle.motion for axle in sprung_axles(body_properties(sheet), front, rear)]
    height, half = float(truck_properties(sheet).cg[2]), 0.5  # all wheels pull alike: half of the drive at each axle
    return {
        "anti_squat_percent": anti_squat_percent(motions[1], height, model.wheelbase, half, rear=True),
        "anti_lift_percent": anti_squat_percent(motions[0], height, model.wheelbase, half, rear=False),
        "front_roll_centre_mm": 1000.0 * roll_centre_height(motions[0]),
        "rear_roll_centre_mm": 1000.0 * roll_centre_height(motions[1]),
        "front_roll_steer": roll_steer(motions[0]),
        "rear_roll_steer": roll_steer(motions[1]),
    }


def _linkage_error(sheet: Sheet, front: Stance, rear: Stance) -> dict[str, Any]:
    try:
        errors = [full_travel_error(stance.axle, stance.height) for stance in (front, rear)]
    except OutOfReachError:
        return {"linkage_error_mm": math.nan, "linkage_error_deg": math.nan}
    return {
        "linkage_error_mm": 1000.0 * max(error.shift for error in errors),
        "linkage_error_deg": math.degrees(max(error.steer for error in errors)),
    }


def _ride(model: RigidModel) -> dict[str, Any]:
    try:
        rest = level(model)
    except NoRestError:
        return {"front_drop_mm": np.nan, "rear_drop_mm": np.nan, "lean_deg": np.nan}
    front, rear = ride_drop(model, rest)
    return {"front_drop_mm": 1000.0 * front, "rear_drop_mm": 1000.0 * rear, "lean_deg": math.degrees(rest.roll)}
