"""A simulated bench: readings of a truck whose truth is known, through a scale with step, scatter and error.

For trying the bench out and for testing it. What comes out is marked as simulated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from models.bench.intake import standing_radii
from models.bench.lifting import axle_share, lift_angle
from models.massprops import truck_properties
from models.part_mass import mass_key, single_grams
from models.spec import LOOSE_PART, PAIRED, Part, Sheet
from models.vector import Vector


@dataclass(frozen=True)
class Truth:
    """The truck as it really is; kg, m."""

    mass: float
    cg: tuple[float, float, float]
    wheelbase: float
    tracks: tuple[float, float]
    radii: tuple[float, float]
    twist: float = 0.0
    """kg moved from the left front to the right front wheel, and from the right rear to the left rear."""
    lean: float = 0.0
    """m that free springs raise what the lift method reads."""

    @property
    def loads(self) -> Vector:
        """Wheel loads, kg: front left, front right, rear left, rear right."""
        (x, y, _), base, (front, rear) = self.cg, self.wheelbase, self.tracks
        places = np.array([[base, front / 2], [base, -front / 2], [0, rear / 2], [0, -rear / 2]])
        balance = np.vstack([np.ones(4), places.T])
        even = balance.T @ np.linalg.solve(balance @ balance.T, self.mass * np.array([1.0, x, y]))
        return even + self.twist * np.array([-1.0, 1.0, front / rear, -front / rear])


@dataclass(frozen=True)
class Instruments:
    """What the bench reads with; kg, m."""

    step: float
    scatter: float
    """Standard deviation of a reading before it is rounded."""
    zero: float
    """Largest error that all readings share."""
    ruler: float
    """Largest error of a length."""


def truth_of(sheet: Sheet, twist: float = 0.0) -> Truth:
    """Take a resolved sheet for the truth."""
    truck = truck_properties(sheet)
    tracks = (sheet.axles.front.track_mm / 1e3, sheet.axles.rear.track_mm / 1e3)
    x, y, z = (float(v) for v in truck.cg)
    return Truth(truck.mass, (x, y, z), sheet.wheelbase_mm / 1e3, tracks, standing_radii(sheet), twist)


def simulate_readings(
    truth: Truth, tools: Instruments, rng: np.random.Generator, *,
    lifts: tuple[float, ...] = (0.25, 0.4, 0.55), ends: tuple[str, ...] = ("rear", "front"), repeats: int = 3,
    locked: bool = True,
) -> dict[str, Any]:  # fmt: skip
    """Weigh the truth: the data of a readings file.

    :param lifts: heights in wheelbases, each read going up and, the highest aside, coming down again.
    """
    zero = float(rng.uniform(-tools.zero, tools.zero))

    def scale(load: float, n: int = repeats) -> list[str]:
        shown = np.round((load + zero + tools.scatter * rng.standard_normal(n)) / tools.step) * tools.step
        return [f"{1000.0 * s:.{_places(tools.step)}f} g" for s in shown]

    def ruler(length: float) -> str:
        read = 1000.0 * (length + rng.uniform(-tools.ruler, tools.ruler))
        return f"{read:.{1 if tools.ruler > 1e-4 else 3}f} mm"

    data: dict[str, Any] = {
        "schema": 1, "truck": "simulated", "simulated": True, "invented": True,
        "scale": {"step": f"{1000 * tools.step:g} g", "accuracy": f"{1000 * tools.zero:g} g"},
        "rulers": {"length": f"{1000 * tools.ruler:g} mm"},
        "whole": scale(truth.mass),
        "wheels": dict(zip(("front_left", "front_right", "rear_left", "rear_right"), map(scale, truth.loads),
                           strict=True)),
        "wheelbase": ruler(truth.wheelbase),
        "track_front": ruler(truth.tracks[0]), "track_rear": ruler(truth.tracks[1]),
        "axle_height_front": ruler(truth.radii[0]), "axle_height_rear": ruler(truth.radii[1]),
        "suspension": "locked" if locked else "free",
        "lift": [],
    }  # fmt: skip
    x, _, h = truth.cg
    for raised in ends:
        on = "front" if raised == "rear" else "rear"
        down, up = truth.radii if on == "front" else truth.radii[::-1]
        for going, shares in (("up", lifts), ("down", lifts[-2::-1])):
            for share in shares:
                rise = share * truth.wheelbase
                angle = lift_angle(rise, truth.wheelbase, down, up)
                load = truth.mass * axle_share(x, h + truth.lean, angle, truth.wheelbase, truth.radii, on)
                data["lift"].append({"raised": raised, "going": going, "height": ruler(rise), "load": scale(load, 2)})
    return data


def weigh_parts(sheet: Sheet, names: list[str], tools: Instruments, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Put parts of the true sheet on the scale, one by one."""
    by_name = {part.name: part for part in sheet.parts}
    found = []
    for name in names:
        load = single_grams(by_name[name]) / 1000.0 + tools.scatter * float(rng.standard_normal())
        shown = round(load / tools.step) * tools.step
        found.append({"name": name, "mass": [f"{1000.0 * shown:.{_places(tools.step)}f} g"]})
    return found


def _places(step: float) -> int:
    return max(0, -math.floor(math.log10(1000.0 * step) + 1e-9))


def real_truck(sheet: Sheet, rng: np.random.Generator, loose_g: float = 7.0) -> Sheet:
    """A truck as it might really have come out beside its sheet: masses, places, springs and tyres a little off.

    Widths are those that the fit takes for its priors; parts marked as measured stay.
    """
    parts = []
    for part in sheet.parts:
        if part.source == "measured":
            parts.append(part)
            continue
        factor = float(np.exp(0.08 * rng.standard_normal()))
        change: dict[str, Any] = {mass_key(part.body): round(single_grams(part) * factor, 2)}
        if part.body not in PAIRED:
            far = np.hypot(0.01 * sheet.wheelbase_mm, 0.08 * np.array(part.size_mm)) * (1.0, 0.3, 1.0)
            at = np.array(part.at_mm) + far * np.clip(rng.standard_normal(3), -2.0, 2.0)
            at[2] = max(at[2], 1.0)
            change["at_mm"] = tuple(round(float(v), 2) for v in at)
        parts.append(part.model_copy(update=change))
    loose = Part(
        name=LOOSE_PART, mass_g=loose_g, at_mm=(0.55 * sheet.wheelbase_mm, 2.0, 0.42 * sheet.wheelbase_mm),
        size_mm=(60.0, 30.0, 12.0), source="assumed",
    )  # fmt: skip
    softer = float(np.exp(-0.2 + 0.1 * rng.standard_normal()))
    axles = {
        end: (axle := getattr(sheet.axles, end)).model_copy(
            update={"shock": axle.shock.model_copy(update={"rate_n_per_mm": axle.shock.rate_n_per_mm * softer})}
        )
        for end in ("front", "rear")
    }
    return sheet.model_copy(update={"parts": (*parts, loose), "axles": sheet.axles.model_copy(update=axles)})
