"""Simulated bench measurements of a truck whose truth is known: tyres, springs, grip, tilt, steering, servo, gears."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from models.bench.predict import Predictor
from models.bench.simulate_readings import Instruments, simulate_readings, truth_of, weigh_parts
from models.drive import front_lead
from models.massprops import GRAVITY, contact_places, truck_properties
from models.spec import Sheet
from models.stability import tip_angles
from models.steergeometry import kingpin_span, outer_angle, turning_radius
from models.tyre import fit_tyre, plate_load, tabulated


def simulate_measures(
    real: Sheet, sheet: Sheet, tools: Instruments, rng: np.random.Generator, *, grip: float, surface: str,
    weighed: list[str],
) -> dict[str, Any]:  # fmt: skip
    """A whole evening at the bench: the data of a readings file about the real truck, kept beside its sheet.

    :param real: resolved truth.
    :param sheet: resolved sheet as the builder wrote it.
    :param grip: true friction on the surface.
    :param weighed: parts put on the scale by themselves.
    """
    truth = truth_of(real, 0.002 * truck_properties(real).mass)
    data = simulate_readings(truth, tools, rng)
    data["truck"] = sheet.name
    data["part"] = weigh_parts(real, weighed, tools, rng)
    data["squish"] = [_squish(real, end, rng) for end in ("front", "rear")]
    data["spring"] = [_spring(real, end, rng) for end in ("front", "rear")]
    data["slip_board"] = [{"surface": surface, "angles": [_deg(math.atan(grip) + _hand(rng, 1.5)) for _ in range(10)]}]
    data["tilt"] = _tilts(real, rng)
    data["steering"], data["turning_circle"] = _steering(real, rng)
    stall = real.servo.stall_kgcm * 0.82
    data["servo"] = {
        "arm": "10 mm", "pulls": [f"{stall * (1 + 0.03 * rng.standard_normal()):.2f} kg" for _ in range(3)],
        "voltage": f"{real.servo.at_v:.1f} V",
    }  # fmt: skip
    lead = front_lead(real.driveline)
    data["gear_count"] = {"motor": round(10 * real.driveline.reduction, 1), "rear": 10.0, "front": round(10 * lead, 1)}
    return data


def _hand(rng: np.random.Generator, deg: float) -> float:
    return math.radians(deg) * float(rng.standard_normal())


def _deg(angle: float) -> str:
    return f"{round(2.0 * math.degrees(angle)) / 2.0:.1f} deg"


def _squish(real: Sheet, end: str, rng: np.random.Generator) -> dict[str, Any]:
    shape, law = fit_tyre(getattr(real.tyres, end))
    curve = tabulated(law.step, law.force)
    rows = []
    for share in (0.12, 0.2, 0.28, 0.36, 0.44):
        travel = share * shape.room
        load = plate_load(shape, curve, travel) / GRAVITY * (1.0 + 0.02 * float(rng.standard_normal()))
        rows.append([f"{1000 * load:.0f} g", f"{1000 * travel + 0.08 * float(rng.standard_normal()):.1f} mm"])
    return {"axle": end, "rows": rows}


def _spring(real: Sheet, end: str, rng: np.random.Generator) -> dict[str, Any]:
    shock = getattr(real.axles, end).shock
    rows = []
    for travel in np.linspace(0.25, 1.0, 4) * (shock.bump_mm + shock.droop_mm):
        grams = 1000.0 * shock.rate_n_per_mm * travel / GRAVITY * (1.0 + 0.01 * float(rng.standard_normal()))
        rows.append([f"{grams:.0f} g", f"{travel:.1f} mm"])
    return {"axle": end, "rows": rows}


def _tilts(real: Sheet, rng: np.random.Generator) -> list[dict[str, Any]]:
    predictor = Predictor(real, [])
    rigid = tip_angles(contact_places(real), truck_properties(real).cg)
    found = []
    for to in ("left", "right", "back"):
        angle = min(predictor.tilt(np.zeros(0), to), getattr(rigid, to))
        found.append({"to": to, "angles": [_deg(angle + _hand(rng, 0.7)) for _ in range(3)]})
    return found


def _steering(real: Sheet, rng: np.random.Generator) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    axle, base = real.axles.front, real.wheelbase_mm / 1000.0
    inner = math.radians(axle.steer_deg - 1.5)
    span = kingpin_span(axle)
    outer = outer_angle(inner, span, base, axle.ackermann)
    # Locked axles push a little wide.
    radius = 1.06 * turning_radius(inner, span, base, axle.ackermann)
    across = 2000.0 * math.hypot(radius + axle.track_mm / 2000.0, base)
    circles = [
        {"to": to, "diameters": [f"{across * (1 + 0.01 * float(rng.standard_normal())):.0f} mm" for _ in range(3)]}
        for to in ("left", "right")
    ]
    angles = {
        "inner": [_deg(inner + _hand(rng, 0.8)) for _ in range(3)],
        "outer": [_deg(outer + _hand(rng, 0.8)) for _ in range(3)],
    }
    return angles, circles
