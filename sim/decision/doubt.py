"""Which unknown could flip a verdict: inputs varied over what they might be, the difference driven anew each time.

Elementary effects: the inputs are stepped one at a time from random starts, which ranks them with few trials and
without assuming a straight line. A truck and the truck it is compared with are changed alike, for the bench would
change both. Source: Morris, Technometrics 33 (1991) 161-174; Campolongo, Cariboni & Saltelli, Environ. Model. Softw. 22
(2007) 1509-1518; computed by SALib.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from SALib.analyze import morris as analysis
from SALib.sample import morris as sampling

from models.rigid import RigidModel, TyreRing
from sim.decision.effect import table
from sim.decision.limit_search import Searches, Several
from sim.decision.runner import Field
from sim.errors import SimError
from sim.statistics.interval import Estimate
from sim.trial.truck import Truck

Array = NDArray[np.float64]
LEVELS = 4
DRIVER = "driver"
DRIVERS = ("steady", "bump", "brisk")


@dataclass(frozen=True)
class Unknown:
    """An input that is not known well."""

    name: str
    low: float
    high: float
    unit: str
    bench: str
    """What to measure to know it better."""


USUAL: tuple[Unknown, ...] = (
    Unknown("grip", -20.0, 20.0, "%", "Slip board: wheels locked, board with your rock's surface, angle of first slip, "
                                      "ten pulls; grip = tan(angle)."),
    Unknown("height of the centre of gravity", -6.0, 6.0, "% of the height",
            "Axle-lift weighing or a tilt board, shocks locked, both sides."),
    Unknown("tyre stiffness", -30.0, 30.0, "%", "Press the wheel on a kitchen scale and read load against squish at "
                                                "one, two and three times its share of the weight."),
    Unknown("shock stiffness", -30.0, 30.0, "%", "Spring on a scale, press a known distance."),
    Unknown(DRIVER, 0.0, 1.0, "from steady over bump to brisk", "Film a few of your own lines: speed over a metre, and "
                                                               "whether you back off and bump."),
)
"""What is usually not known, and how badly (common practice, no source)."""


@dataclass(frozen=True)
class Influence:
    """What one unknown does to the difference."""

    unknown: Unknown
    strength: float
    """Mean size of its elementary effects over its whole range, in the unit of the score."""
    strength_error: float
    """Half-width of the 95 % interval of that mean, from resampling."""
    direction: float
    """Mean effect with its sign."""
    flips_at: float | None
    """Value, in its own unit, at which a straight line through the runs has no difference left, where runs agree."""


@dataclass(frozen=True)
class Doubt:
    """The whole answer."""

    score: Estimate
    """Of all runs: mean difference, with its smallest and largest."""
    flipped: float
    """Share of runs in which the difference has the other sign than at the sheet's own values."""
    nominal: float
    influences: tuple[Influence, ...]
    """The strongest first."""
    runs: int
    points: Array
    """(runs, unknowns) values driven, in the unknowns' units."""
    scores: Array
    """(runs,)"""

    @property
    def could_flip(self) -> tuple[Influence, ...]:
        """Unknowns that could turn the verdict on their own."""
        return tuple(one for one in self.influences if one.flips_at is not None)


def design(unknowns: Sequence[Unknown], starts: int, seed: int = 0) -> Array:
    """(starts * (unknowns + 1), unknowns) values to run, in the unknowns' units."""
    return np.asarray(sampling.sample(_problem(unknowns), starts, num_levels=LEVELS, seed=seed))


def analyse(unknowns: Sequence[Unknown], points: Array, scores: Array, nominal: float) -> Doubt:
    """Rank the unknowns by what they do to the score.

    :param unknowns: The inputs.
    :param points: From :func:`design`.
    :param scores: (runs,) difference at every point; any unit.
    :param nominal: The same with every input as the sheet says.
    """
    scores = np.asarray(scores, dtype=float)
    found = analysis.analyze(_problem(unknowns), points, scores, num_levels=LEVELS, seed=0)
    influences = []
    for k, unknown in enumerate(unknowns):
        strength, error = float(found["mu_star"][k]), float(found["mu_star_conf"][k])
        influences.append(Influence(unknown, strength, error, float(found["mu"][k]),
                                    _flip(unknown, nominal, float(found["mu"][k]), points[:, k], scores)))
    influences.sort(key=lambda one: -one.strength)
    score = Estimate(float(scores.mean()), float(scores.min()), float(scores.max()))
    flipped = float(np.mean(np.sign(scores) == -np.sign(nominal))) if nominal else 0.0
    return Doubt(score, flipped, nominal, tuple(influences), len(scores), points, scores)


def _problem(unknowns: Sequence[Unknown]) -> dict[str, Any]:
    bounds = [[u.low, u.high] for u in unknowns]
    return {"num_vars": len(unknowns), "names": [u.name for u in unknowns], "bounds": bounds}


def _flip(unknown: Unknown, nominal: float, effect: float, values: Array, scores: Array) -> float | None:
    """Where, from the sheet's own value (0), a straight line of this slope crosses zero within the range.

    An elementary effect is the change of the score over the whole range. A line may promise what the trucks do not
    keep: only where some run beyond that value really went the other way is it believed.
    """
    slope = effect / (unknown.high - unknown.low)
    if slope == 0.0:
        return None
    at = -nominal / slope
    beyond = (values - at) * np.sign(at) >= 0.0
    if not unknown.low <= at <= unknown.high or not np.any(scores[beyond] * nominal < 0.0):
        return None
    return float(at)


def altered(model: RigidModel, values: dict[str, float], tag: str) -> RigidModel:
    """The truck as it would be with other values of the unknowns (percent), under a hash of its own."""
    grip = 1.0 + values.get("grip", 0.0) / 100.0
    stiff = 1.0 + values.get("tyre stiffness", 0.0) / 100.0
    shock = 1.0 + values.get("shock stiffness", 0.0) / 100.0
    rise = values.get("height of the centre of gravity", 0.0) / 100.0 * float(model.cg()[2])
    chassis = model.bodies[0]
    lifted = replace(chassis, p_BBcm=chassis.p_BBcm + np.array([0.0, 0.0, rise * model.mass / chassis.mass]))
    first, second, third, fourth = (_tyre(ring, grip, stiff) for ring in model.tyres)
    return replace(
        model,
        config_hash=f"{model.config_hash[:40]}{tag}",
        bodies=(lifted, *model.bodies[1:]),
        tyres=(first, second, third, fourth),
        shocks=tuple(replace(line, rate=line.rate * shock) for line in model.shocks),
    )


def _tyre(ring: TyreRing, grip: float, stiff: float) -> TyreRing:
    return replace(ring, grip=ring.grip * grip, law_force=ring.law_force * stiff)


def driver_of(values: dict[str, float], usual: str) -> str:
    """The named driver that a point stands for; the usual one where the driver is no unknown."""
    if DRIVER not in values:
        return usual
    return DRIVERS[min(int(values[DRIVER] * len(DRIVERS)), len(DRIVERS) - 1)]


def tag(values: dict[str, float]) -> str:
    """24 hexadecimal digits that stand for the values of a point."""
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()[:24]


def variant(truck: Truck, values: dict[str, float]) -> Truck:
    """A truck with other values of the unknowns, under a hash and name of its own."""
    mark = tag({name: value for name, value in values.items() if name != DRIVER})
    made = hashlib.sha256(f"{truck.hash}{mark}".encode()).hexdigest()[:16]
    return replace(truck, hash=made, name=f"{truck.name} ({mark[:6]})", model=altered(truck.model, values, mark))


def investigate(
    field: Field, base: Truck, changed: Truck, unknowns: Sequence[Unknown], points: Array, *, repeats: int
) -> Doubt:
    """Drive both trucks at every point and rank the unknowns. ``field`` must know :func:`cast` of the same points."""
    setting = field.searches.setting
    field.find([changed.hash], range(repeats))
    nominal = float(table(field.searches, setting.lines, [base.hash, changed.hash], repeats).score(changed.hash).mean())
    runs = []
    for values in at(unknowns, points):
        pair = variant(base, values), variant(changed, values)
        searches = Searches(replace(setting, driver=driver_of(values, setting.driver)), pair[0].hash)
        searches.ask([pair[1].hash], range(repeats))
        runs.append((searches, pair))
    field.run(Several([searches for searches, _ in runs]))
    scores = []
    for searches, (mine, other) in runs:
        found = table(searches, setting.lines, [mine.hash, other.hash], repeats)
        if found.n == 0:
            raise SimError("no repeat of a run has a result", field="repeats", value=repeats,
                           remedy="Give more repeats or leave an obstacle out")
        scores.append(float(found.score(other.hash).mean()))
    return analyse(unknowns, points, np.array(scores), nominal)


def at(unknowns: Sequence[Unknown], points: Array) -> list[dict[str, float]]:
    """The points by the unknowns' names."""
    return [{unknown.name: float(value) for unknown, value in zip(unknowns, row, strict=True)} for row in points]


def cast(base: Truck, changed: Truck, unknowns: Sequence[Unknown], points: Array) -> list[Truck]:
    """Every truck that :func:`investigate` will drive, the base truck first."""
    found = [base, changed]
    for values in at(unknowns, points):
        found += [variant(base, values), variant(changed, values)]
    return list({truck.hash: truck for truck in found}.values())


def sentence(doubt: Doubt, stated: bool) -> str:
    """What could flip the verdict, and what to measure first."""
    unit = "points" if stated else "%"
    span = f"{doubt.score.low:+.0f} and {doubt.score.high:+.0f} {unit}"
    first = doubt.influences[0]
    risky = doubt.could_flip
    if not risky and doubt.flipped == 0.0:
        said = f"Nothing looked at flips it: the difference stays between {span} ({doubt.runs} runs)"
    elif not risky:
        said = (f"No single unknown flips it, but together they do in {100 * doubt.flipped:.0f} % of {doubt.runs} runs "
                f"(between {span})")
    else:
        names = ", ".join(f"{one.unknown.name} (near {one.flips_at:+.2g} {one.unknown.unit})" for one in risky)
        said = f"It could flip with {names}; it did in {100 * doubt.flipped:.0f} % of {doubt.runs} runs"
        said += f" (between {span})"
    return f"{said}. It hangs most on {first.unknown.name}. Measure that first: {first.unknown.bench}"
