"""What the readings should be for given values of the unknowns; SI."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.bench.compliance import Yielding, tip_angle
from models.bench.intake import axle_rate, spring_rate, standing_radii, tyre_rate
from models.bench.unknowns import SPRINGS, TYRES, Unknown
from models.linkage import axle_motion, axle_rods, roll_centre_height
from models.massprops import GRAVITY, body_properties, truck_properties
from models.part_mass import single_grams
from models.spec import LOOSE_PART, PAIRED, Sheet
from models.vector import Vector


@dataclass(frozen=True)
class _Frame:
    """What of the truck's give does not move in the fit."""

    base: float
    tracks: tuple[float, float]
    axle_height: float
    roll_centre: float
    roll_stiffness: float
    most_roll: float
    pitch_rates: tuple[float, float]
    most_pitch: float
    tyres: tuple[float, float]


class Predictor:
    """Sums parts quickly, however the unknowns move them."""

    def __init__(self, sheet: Sheet, unknowns: Sequence[Unknown]) -> None:
        """Take what is fixed from the resolved sheet."""
        names = [part.name for part in sheet.parts]
        if any(u.part == LOOSE_PART for u in unknowns) and LOOSE_PART not in names:
            names.append(LOOSE_PART)
        row = {name: n for n, name in enumerate(names)}
        self._mass = np.zeros(len(names))
        self._at = np.zeros((len(names), 3))
        self._count = np.ones(len(names))
        self._sprung = np.ones(len(names), dtype=bool)
        for part in sheet.parts:
            n = row[part.name]
            pair = part.body in PAIRED
            self._mass[n] = single_grams(part) / 1000.0
            self._at[n] = np.array(part.at_mm) / 1000.0 * (1.0, 0.0 if pair else 1.0, 1.0)
            self._count[n] = 2.0 if pair else 1.0
            self._sprung[n] = part.body == "chassis"
        # Links and shocks are not parts; they are what the whole truck has beside them.
        whole, chassis = truck_properties(sheet), body_properties(sheet)["chassis"]
        weights = self._mass * self._count
        self._rest_mass = whole.mass - float(weights.sum())
        self._rest = whole.mass * whole.cg - weights @ self._at
        sprung = weights * self._sprung
        self._rest_sprung_mass = chassis.mass - float(sprung.sum())
        self._rest_sprung = chassis.mass * chassis.cg - sprung @ self._at
        self._factors = {u.key[0]: k for k, u in enumerate(unknowns) if u.part is None}
        places = [(k, row[u.part], ("mass", "x", "y", "z").index(u.key[2])) for k, u in enumerate(unknowns) if u.part]
        masses = np.array([(k, n) for k, n, what in places if what == 0], dtype=int).reshape(-1, 2)
        spots = np.array([(k, n, what - 1) for k, n, what in places if what > 0], dtype=int).reshape(-1, 3)
        self._from_mass, self._to_mass = masses.T
        self._from_spot, self._to_part, self._to_axis = spots.T
        self._frame = _frame(sheet)

    def masses(self, values: Vector) -> tuple[float, Vector, float, Vector]:
        """Mass and centre of gravity of the whole truck and of what rides on its springs."""
        mass, at = self._mass.copy(), self._at.copy()
        mass[self._to_mass] = values[self._from_mass]
        at[self._to_part, self._to_axis] = values[self._from_spot]
        weights = mass * self._count
        total = float(weights.sum()) + self._rest_mass
        sprung = weights * self._sprung
        above = float(sprung.sum()) + self._rest_sprung_mass
        return total, (weights @ at + self._rest) / total, above, (sprung @ at + self._rest_sprung) / above

    def state(self, values: Vector) -> Vector:
        """Mass and centre of gravity, (4,)."""
        total, cg, _, _ = self.masses(values)
        return np.array([total, *cg])

    def tilt(self, values: Vector, to: str) -> float:
        """Tip angle (rad) on a tilt table, with the give of springs and tyres."""
        return tip_angle(self.yielding(values, to), GRAVITY)

    def yielding(self, values: Vector, to: str) -> Yielding:
        """The truck as it tips to one side, back or front."""
        total, cg, above, cg_above = self.masses(values)
        f = self._frame
        springs = math.exp(values[self._factors[SPRINGS[0]]]) if SPRINGS[0] in self._factors else 1.0
        tyres = math.exp(values[self._factors[TYRES[0]]]) if TYRES[0] in self._factors else 1.0
        front = float(cg[0]) / f.base
        if to in ("left", "right"):
            half = (front * f.tracks[0] + (1.0 - front) * f.tracks[1]) / 2.0
            lever = half - float(cg[1]) if to == "left" else half + float(cg[1])
            return Yielding(
                total, float(cg[2]), lever, above, float(cg_above[2]) - f.roll_centre, springs * f.roll_stiffness,
                f.most_roll, sum(f.tracks) / 2.0, tyres * sum(f.tyres),
            )  # fmt: skip
        lever = float(cg[0]) if to == "back" else f.base - float(cg[0])
        soft = 1.0 / (springs * f.pitch_rates[0]) + 1.0 / (springs * f.pitch_rates[1])
        return Yielding(
            total, float(cg[2]), lever, above, float(cg_above[2]) - f.axle_height, f.base**2 / soft,
            f.most_pitch, f.base, 4.0 * tyres / (1.0 / f.tyres[0] + 1.0 / f.tyres[1]),
            front if to == "back" else 1.0 - front,
        )  # fmt: skip


def _frame(sheet: Sheet) -> _Frame:
    radii = standing_radii(sheet)
    base = sheet.wheelbase_mm / 1000.0
    stiffness, centres, most = 0.0, [], []
    for axle, radius in ((sheet.axles.front, radii[0]), (sheet.axles.rear, radii[1])):
        spread = abs(axle.shock.chassis_mm[1] + axle.shock.axle_mm[1]) / 1000.0
        # Two springs at half their spread each: K = k s^2 / 2.
        stiffness += 0.5 * spring_rate(axle) * spread**2
        centre = roll_centre_height(axle_motion(axle_rods(axle, radius)))
        centres.append(centre if math.isfinite(centre) else radius)
        most.append((axle.shock.bump_mm + axle.shock.droop_mm) / 1000.0 / max(spread, 1e-3))
    travel = sum(a.shock.bump_mm + a.shock.droop_mm for a in (sheet.axles.front, sheet.axles.rear)) / 2000.0
    tyres = (2.0 * tyre_rate(sheet, sheet.tyres.front), 2.0 * tyre_rate(sheet, sheet.tyres.rear))
    whole = (axle_rate(sheet, "front"), axle_rate(sheet, "rear"))
    rates = [1.0 / (1.0 / both - 1.0 / rate) for both, rate in zip(whole, tyres, strict=True)]
    return _Frame(
        base, (sheet.axles.front.track_mm / 1000.0, sheet.axles.rear.track_mm / 1000.0), sum(radii) / 2.0,
        sum(centres) / 2.0, stiffness, min(most), (rates[0], rates[1]), travel / base, (tyres[0] / 2.0, tyres[1] / 2.0),
    )  # fmt: skip
