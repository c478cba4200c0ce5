"""Warnings with a number: what a change overloads, what it brings into the way, what it no longer clears."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from models.assemble import rigid_model
from models.massprops import GRAVITY, contact_places, truck_properties, wheel_loads
from models.rigid import WHEEL_BODIES, RigidModel
from models.room import Rub, rubbing
from models.spec import Sheet
from models.stability import TipAngles, tip_angles
from models.statics import steer_torques
from sim.decision.obstacle_mix import Line
from sim.trial.task import Record

Kind = Literal["servo", "current", "nose-over", "tip back", "rubbing", "shaft load", "gear load"]
LOAD_FACTOR = 1.2
"""Growth of what gears and shafts carry above which one warns (assumed: parts last by their load)."""
SATURATED = 0.25
"""Share of a trial's time with the servo at its stall torque above which one warns (assumed)."""
AT_LIMIT = 0.5
"""Share of the trials that reach the motor's current limit above which one warns (assumed)."""
WORSE = 1.1
"""Growth of what the truck before had as well from which on it is told again (assumed)."""
RUB_MM = 0.5
"""The same for the depth of a rub, in mm more (assumed)."""


@dataclass(frozen=True)
class Caution:
    """One thing to mind."""

    kind: Kind
    about: str
    """Which servo check, tyre or shaft: with the kind it tells cautions of two trucks apart."""
    text: str
    value: float
    limit: float

    def worse_than(self, other: Caution) -> bool:
        """Whether it is clearly worse than the same caution of another truck."""
        if self.kind == "rubbing":
            return self.value > other.value + RUB_MM
        if self.kind in ("nose-over", "tip back"):
            return self.limit - self.value > WORSE * (other.limit - other.value)
        return self.value > WORSE * other.value


@dataclass(frozen=True)
class Exertion:
    """How hard motor and servo worked, trial by trial."""

    current_a: NDArray[np.float64]
    """(n,) peak motor current."""
    saturation: NDArray[np.float64]
    """(n,) share of the time with the servo at its stall torque."""

    @staticmethod
    def of(records: Iterable[Record]) -> Exertion:
        """Collect it from trials; those in which the solver failed say nothing."""
        rows = [(r.peak_current_a, r.servo_saturation) for r in records if r.outcome != "invalid"]
        data = np.array(rows, dtype=float).reshape(len(rows), 2)
        return Exertion(data[:, 0], data[:, 1])


def cautions(
    after: Sheet, before: Sheet | None = None, lines: Sequence[Line] = (), driven: Exertion | None = None,
    driven_before: Exertion | None = None, factor: float = LOAD_FACTOR,
) -> list[Caution]:
    """Everything to mind about a truck; where the one it was is given, only what is new or clearly worse.

    :param after: The truck.
    :param before: What it was.
    :param lines: Of these the climbs and descents at stated levels are what is asked of it.
    :param driven: Of its trials, if there are any.
    :param driven_before: Of the trials of the truck it was.
    :param factor: Growth of gear and shaft loads above which to warn.
    """
    found = _own(after, lines, driven)
    if before is None:
        return found
    return beyond(found, _own(before, lines, driven_before)) + _loads(after, before, factor)


def beyond(found: Sequence[Caution], known: Iterable[Caution]) -> list[Caution]:
    """Those of ``found`` that are not ``known`` already, or are clearly worse."""
    had: dict[tuple[str, str], Caution] = {}
    for one in known:
        key = (one.kind, one.about)
        if key not in had or one.worse_than(had[key]):
            had[key] = one
    return [c for c in found if (c.kind, c.about) not in had or c.worse_than(had[c.kind, c.about])]


def briefly(found: Iterable[tuple[str, Sequence[Caution]]], most: int = 4) -> list[str]:
    """One line for each caution, naming every truck it holds for: each text is said once."""
    names: dict[str, list[str]] = {}
    for name, some in found:
        for caution in some:
            names.setdefault(caution.text, []).append(name)
    return [f"{', '.join(who[:most])}{f' and {len(who) - most} more' if len(who) > most else ''}: {text}"
            for text, who in names.items()]


@dataclass(frozen=True)
class _Truck:
    """What of a sheet the cautions need."""

    sheet: Sheet
    model: RigidModel
    steer_kgcm: tuple[float, float]
    """Needed at rest, and there."""
    tips: TipAngles
    """deg."""
    rubs: tuple[Rub, ...]


@lru_cache(maxsize=64)
def _truck(sheet: Sheet) -> _Truck:
    """Work it out once: every truck is held against the same one before."""
    tips = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    return _Truck(sheet, rigid_model(sheet), steer_torques(sheet), tips, rubbing(sheet))


def _own(sheet: Sheet, lines: Sequence[Line], driven: Exertion | None) -> list[Caution]:
    truck = _truck(sheet)
    return [*_servo(truck), *_asked(truck, lines), *_rubbing(truck), *_driven(truck.model, driven)]


def climb_current(model: RigidModel, slope: float) -> float:
    """Motor current (A) that holds the whole weight on a slope (rad): torque over kT, reduction and efficiency."""
    drive = model.drive
    radius = float(model.origins()[WHEEL_BODIES[2], 2])
    torque = model.mass * GRAVITY * math.sin(slope) * radius
    return torque / (drive.kt * drive.rear_reduction * drive.efficiency) + drive.no_load_current


def _servo(truck: _Truck) -> list[Caution]:
    needed, there = truck.steer_kgcm
    if needed <= there:
        return []
    text = f"the servo is overloaded: {needed:.2f} kg·cm to turn the wheels at rest, {there:.2f} kg·cm there"
    return [Caution("servo", "at rest", text, needed, there)]


def _asked(truck: _Truck, lines: Sequence[Line]) -> list[Caution]:
    found, model = [], truck.model
    slopes = {family: [line.level for line in lines if line.level is not None and line.obstacle.startswith(family)]
              for family in ("climb", "descent")}
    if slopes["descent"] and truck.tips.front < (steepest := max(slopes["descent"])):
        short = steepest - truck.tips.front
        text = f"noses over on a descent of {steepest:g}°: the handbook angle is {truck.tips.front:.1f}°"
        text += f", {short:.1f}° short" if short >= 0.05 else ", which is the edge"
        found.append(Caution("nose-over", "asked", text, truck.tips.front, steepest))
    if slopes["climb"]:
        steepest = max(slopes["climb"])
        if truck.tips.back < steepest:
            text = f"tips back on a climb of {steepest:g}°: the handbook angle is {truck.tips.back:.1f}°"
            found.append(Caution("tip back", "asked", text, truck.tips.back, steepest))
        current, limit = climb_current(model, math.radians(steepest)), model.drive.current_limit
        if current > limit:
            text = f"the motor needs {current:.1f} A to hold a climb of {steepest:g}°, its limit is {limit:.1f} A"
            found.append(Caution("current", "asked", text, current, limit))
    return found


def _rubbing(truck: _Truck) -> list[Caution]:
    """Both sides of the truck alike are told in one line."""
    found: dict[tuple[str, str], list[Rub]] = {}
    for rub in truck.rubs:
        found.setdefault((rub.tyre.split()[0], rub.by), []).append(rub)
    told = []
    for (end, by), rubs in found.items():
        who = f"the {rubs[0].tyre} rubs" if len(rubs) == 1 else f"the {end} tyres rub"
        text = f"{who} on {by} at full lock and bump, {rubs[0].depth:.1f} mm deep"
        told.append(Caution("rubbing", f"{end} {by}", text, rubs[0].depth, 0.0))
    return told


def _driven(model: RigidModel, driven: Exertion | None) -> list[Caution]:
    if driven is None or not len(driven.current_a):
        return []
    found, n = [], len(driven.current_a)
    peak, limit = float(driven.current_a.max()), model.drive.current_limit
    held = int(np.sum(driven.current_a >= 0.999 * limit))
    if held > AT_LIMIT * n:
        text = (f"the motor ran into its limit of {limit:.1f} A in {held} of {n} trials ({100 * held / n:.0f} %, peak "
                f"{peak:.1f} A)")
        found.append(Caution("current", "driven", text, held / n, AT_LIMIT))
    share = float(driven.saturation.mean())
    if share > SATURATED:
        text = f"the servo stood at its stall torque for {100 * share:.0f} % of the time over {n} trials"
        found.append(Caution("servo", "driven", text, share, SATURATED))
    return found


def _loads(after: Sheet, before: Sheet, factor: float) -> list[Caution]:
    """What the tyres can put into the shafts, and what spinning wheels put into the gears when they are stopped."""
    found = []
    model, was = _truck(after).model, _truck(before).model
    now, then = _grip_torque(after, model), _grip_torque(before, was)
    for end, a, b in (("front", now[0], then[0]), ("rear", now[1], then[1])):
        if a > factor * b:
            text = (f"the {end} shafts carry up to {a / b:.2f} times as much: {1e3 * b:.0f} to {1e3 * a:.0f} mN·m "
                    "with both tyres at their grip")
            found.append(Caution("shaft load", end, text, a / b, factor))
    for end, wheel in (("front", WHEEL_BODIES[0]), ("rear", WHEEL_BODIES[2])):
        a, b = (float(m.bodies[wheel].I_BBcm[1, 1]) for m in (model, was))
        if a > factor * b:
            text = (f"the {end} wheels have {a / b:.2f} times the spin inertia: gears take that much more when a "
                    "spinning wheel bites")
            found.append(Caution("gear load", end, text, a / b, factor))
    return found


def _grip_torque(sheet: Sheet, model: RigidModel) -> tuple[float, float]:
    """Torque (N m) on the front and rear axle with both tyres at their friction limit on level ground."""
    load = wheel_loads(sheet).load
    height = model.origins()
    return tuple(  # type: ignore[return-value]
        float(load[2 * k : 2 * k + 2].sum() * model.tyres[2 * k].grip * height[WHEEL_BODIES[2 * k], 2]) for k in (0, 1)
    )
