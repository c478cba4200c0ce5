"""What is not known of a truck and its driver: how badly, what to measure, and the truck with other values.

A truck and the truck it is compared with are changed alike, for the bench would change both.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from models.defaults import resolve
from models.rigid import RigidModel, TyreRing
from models.spec import Sheet
from sim.errors import SimError
from sim.trial import driver as drivers
from sim.trial.truck import Truck

Array = NDArray[np.float64]
DRIVER = "driver"
SECOND_DRIVER = "bump"
"""Drives half of the cases beside the one that was asked for, unless another is named."""
FAR = 2.0
"""Standard deviations to what is called low and high."""
_FORM = 1
"""Changes when :func:`altered` does something else for the same values."""


@dataclass(frozen=True)
class Prior:
    """How well one input is known: normal about the sheet's value, or one of several drivers."""

    name: str
    sd: float
    """Standard deviation, percent of the sheet's value; 0 for a choice of drivers."""
    measured: bool
    """Whether the sheet says that it was measured."""
    bench: str
    """What to measure to know it better."""
    minutes: float
    """At the bench (assumed)."""
    choices: tuple[str, ...] = ()
    """Drivers, each as likely as the other."""

    @property
    def text(self) -> str:
        """As it is stated beside an answer."""
        return f"{self.name}: {' or '.join(self.choices)}" if self.choices else f"{self.name} ±{FAR * self.sd:g} %"


@dataclass(frozen=True)
class _Kind:
    name: str
    assumed: float
    known: float
    keys: tuple[str, ...]
    """Of the sheet: assumed while one of them is."""
    bench: str
    minutes: float


_KINDS = (
    _Kind("grip", 10.0, 4.0, ("tyres.front.grip", "tyres.rear.grip"),
          "Slip board: wheels locked, board with your rock's surface, angle of first slip, ten pulls; grip = "
          "tan(angle).",
          20.0),
    _Kind("tyre stiffness", 15.0, 5.0, ("tyres.front.squish", "tyres.rear.squish"),
          "Press the wheel on a kitchen scale and read load against squish at one, two and three times its share of "
          "the weight.", 15.0),
    _Kind("shock stiffness", 15.0, 5.0, ("axles.front.shock.rate_n_per_mm", "axles.rear.shock.rate_n_per_mm"),
          "Spring on a scale, press a known distance.", 15.0),
    _Kind("damping", 25.0, 10.0, ("axles.front.shock.damping_ns_per_m", "axles.rear.shock.damping_ns_per_m"),
          "Drop the truck from two centimetres and film how often it bounces.", 15.0),
    _Kind("height of the centre of gravity", 3.0, 1.0, ("parts.battery",),
          "Axle-lift weighing or a tilt board, shocks locked, both sides.", 30.0),
    _Kind("motor", 10.0, 4.0, ("motor.kv_rpm_per_v", "motor.resistance_ohm"),
          "Stall torque with a lever on the kitchen scale, and revolutions at full battery.", 20.0),
)
"""Standard deviations where the sheet assumes, and where it was measured (common practice, no source)."""
USUAL = tuple(Prior(kind.name, kind.assumed, False, kind.bench, kind.minutes) for kind in _KINDS)
"""Everything but the driver, as where a sheet assumes it all."""
DRIVER_BENCH = ("Film a few of your own lines: speed over a metre, and whether you back off and try again.", 10.0)


def priors(
    sheet: Sheet, driver: str, known: Mapping[str, float] | None = None, second: str = SECOND_DRIVER
) -> tuple[Prior, ...]:
    """What is not known of a truck.

    :param sheet: Says what was measured and what was assumed.
    :param driver: The one asked for.
    :param second: Another, as likely; where it is the same, the usual other one.
    :param known: Standard deviations (percent) that somebody states himself; 0 takes an unknown out.
    :raises SimError: No such unknown or driver.
    """
    known = dict(known or {})
    sheet = resolve(sheet)
    names = [kind.name for kind in _KINDS] + [DRIVER]
    wrong = next((name for name in known if name not in names), None)
    if wrong is not None:
        raise SimError("no such unknown", field="known", value=wrong, remedy=f"Choose from: {', '.join(names)}")
    found = []
    for kind in _KINDS:
        assumed = any(_assumed(sheet, key) for key in kind.keys)
        sd = known.get(kind.name, kind.assumed if assumed else kind.known)
        if sd > 0.0:
            found.append(Prior(kind.name, sd, not assumed or kind.name in known, kind.bench, kind.minutes))
    other = second if second != driver else SECOND_DRIVER if driver != SECOND_DRIVER else "steady"
    drivers.named(other)
    if known.get(DRIVER, 1.0) > 0.0:
        found.append(Prior(DRIVER, 0.0, False, *DRIVER_BENCH, (driver, other)))
    return tuple(found)


def _assumed(sheet: Sheet, key: str) -> bool:
    """Whether a key, or the table it stands in, was assumed."""
    parts = key.split(".")
    return any(".".join(parts[:k]) in sheet.assumed for k in range(2, len(parts) + 1))


def draws(unknowns: Sequence[Prior], count: int, seed: int = 0) -> Array:
    """(count, unknowns) draws in standard deviations, drivers 0 or 1 in equal numbers; spread evenly.

    Scrambled Sobol points. Source: Owen, J. Complexity 14 (1998) 466-489; computed by SciPy.
    """
    power = max(1, math.ceil(math.log2(max(count, 2))))
    points = qmc.Sobol(len(unknowns), seed=seed).random_base2(power)[:count]
    found = np.clip(ndtri(np.clip(points, 1e-6, 1.0 - 1e-6)), -2.5, 2.5)
    rng = np.random.default_rng(seed)
    for k, one in enumerate(unknowns):
        if one.choices:
            found[:, k] = rng.permutation(np.arange(count) % len(one.choices))
    return np.asarray(found)


def values(unknowns: Sequence[Prior], point: Sequence[float]) -> dict[str, float]:
    """Percent away from the sheet by the unknowns' names, without the driver."""
    return {one.name: one.sd * float(z) for one, z in zip(unknowns, point, strict=True) if not one.choices and z}


def driver(unknowns: Sequence[Prior], point: Sequence[float], usual: str) -> str:
    """Who drives at a point."""
    return next((one.choices[round(z)] for one, z in zip(unknowns, point, strict=True) if one.choices), usual)


def varied(truck: str, changed: Mapping[str, float]) -> str:
    """Hash of a truck with other values of the unknowns."""
    if not changed:
        return truck
    mark = json.dumps([_FORM, truck, sorted(changed.items())])
    return hashlib.sha256(mark.encode()).hexdigest()[:16]


def variant(truck: Truck, changed: Mapping[str, float]) -> Truck:
    """A truck with other values of the unknowns, under a hash and name of its own."""
    mark = varied(truck.hash, changed)
    return replace(truck, hash=mark, name=f"{truck.name} ({mark[:6]})", model=altered(truck.model, changed, mark))


class Variants(Mapping[str, RigidModel]):
    """Trucks by their hashes, each also with the values of every case; made when a worker first asks for one."""

    def __init__(self, models: Mapping[str, RigidModel], cases: Iterable[Mapping[str, float]]) -> None:
        """Note which there may be."""
        self._models = dict(models)
        self._origin = {varied(truck, case): (truck, dict(case)) for case in cases if case for truck in models}

    def __getitem__(self, key: str) -> RigidModel:
        """The model of a hash."""
        if key not in self._models:
            truck, changed = self._origin[key]
            self._models[key] = altered(self._models[truck], changed, key)
        return self._models[key]

    def __iter__(self) -> Iterator[str]:
        """All hashes."""
        return iter(dict.fromkeys([*self._models, *self._origin]))

    def __len__(self) -> int:
        """How many there are."""
        return len(dict.fromkeys([*self._models, *self._origin]))


def altered(model: RigidModel, changed: Mapping[str, float], mark: str) -> RigidModel:
    """The truck as it would be with other values of the unknowns (percent), under a hash of its own."""
    factor = {kind.name: 1.0 + changed.get(kind.name, 0.0) / 100.0 for kind in _KINDS}
    rise = (factor["height of the centre of gravity"] - 1.0) * float(model.cg()[2])
    chassis = model.bodies[0]
    lifted = replace(chassis, p_BBcm=chassis.p_BBcm + np.array([0.0, 0.0, rise * model.mass / chassis.mass]))
    first, second, third, fourth = (_tyre(ring, factor["grip"], factor["tyre stiffness"]) for ring in model.tyres)
    drive = model.drive
    # A stronger motor of the same speed: the same torque constant from a winding of less resistance.
    motor = replace(drive, resistance=drive.resistance / factor["motor"],
                    current_limit=drive.current_limit * factor["motor"])
    return replace(
        model,
        config_hash=f"{model.config_hash[:40]}{mark}",
        bodies=(lifted, *model.bodies[1:]),
        tyres=(first, second, third, fourth),
        shocks=tuple(replace(line, rate=line.rate * factor["shock stiffness"], damping=line.damping * factor["damping"])
                     for line in model.shocks),
        drive=motor,
    )


def _tyre(ring: TyreRing, grip: float, stiff: float) -> TyreRing:
    return replace(ring, grip=ring.grip * grip, law_force=ring.law_force * stiff)
