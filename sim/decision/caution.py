"""Warnings with a number: what a change overloads, what it brings into the way, what it no longer clears."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from models.assemble import rigid_model
from models.massprops import GRAVITY, wheel_loads
from models.rigid import WHEEL_BODIES, RigidModel
from models.room import rubbing
from models.spec import Sheet
from models.statics import Statics, statics
from sim.decision.line import Line
from sim.task import Record

Kind = Literal["servo", "current", "nose-over", "tip back", "rubbing", "shaft load", "gear load"]
LOAD_FACTOR = 1.2
"""Growth of what gears and shafts carry above which one warns (assumed: parts last by their load)."""
SATURATED = 0.25
"""Share of a trial's time with the servo at its stall torque above which one warns (assumed)."""


@dataclass(frozen=True)
class Caution:
    """One thing to mind."""

    kind: Kind
    text: str
    value: float
    limit: float


def cautions(
    after: Sheet, before: Sheet | None = None, lines: Sequence[Line] = (), records: Iterable[Record] = (),
    factor: float = LOAD_FACTOR,
) -> list[Caution]:
    """Everything to mind about a truck, against the one it was where that is given.

    Args:
        after: The truck.
        before: What it was.
        lines: Of these the climbs and descents at stated levels are what is asked of it.
        records: Its trials, if there are any.
        factor: Growth of gear and shaft loads above which to warn.
    """
    model, numbers = rigid_model(after), None
    numbers = statics(after, model)
    found = [*_servo(numbers), *_asked(model, numbers, lines), *_rubbing(after, before), *_driven(model, records)]
    if before is not None:
        found += _loads(after, model, before, rigid_model(before), factor)
    return found


def climb_current(model: RigidModel, slope: float) -> float:
    """Motor current (A) that holds the whole weight on a slope (rad): torque over kT, reduction and efficiency."""
    drive = model.drive
    radius = float(model.origins()[WHEEL_BODIES[2], 2])
    torque = model.mass * GRAVITY * math.sin(slope) * radius
    return torque / (drive.kt * drive.rear_reduction * drive.efficiency) + drive.no_load_current


def _servo(numbers: Statics) -> list[Caution]:
    needed, there = numbers.steer_needed_kgcm, numbers.steer_available_kgcm
    if needed <= there:
        return []
    text = f"the servo is overloaded: {needed:.2f} kg·cm to turn the wheels at rest, {there:.2f} kg·cm there"
    return [Caution("servo", text, needed, there)]


def _asked(model: RigidModel, numbers: Statics, lines: Sequence[Line]) -> list[Caution]:
    found = []
    slopes = {family: [line.level for line in lines if line.level is not None and line.obstacle.startswith(family)]
              for family in ("climb", "descent")}
    if slopes["descent"] and numbers.tip_deg.front < (steepest := max(slopes["descent"])):
        text = (f"noses over on a descent of {steepest:g}°: the handbook angle is {numbers.tip_deg.front:.1f}°, "
                f"{steepest - numbers.tip_deg.front:.1f}° short")
        found.append(Caution("nose-over", text, numbers.tip_deg.front, steepest))
    if slopes["climb"]:
        steepest = max(slopes["climb"])
        if numbers.tip_deg.back < steepest:
            text = f"tips back on a climb of {steepest:g}°: the handbook angle is {numbers.tip_deg.back:.1f}°"
            found.append(Caution("tip back", text, numbers.tip_deg.back, steepest))
        current, limit = climb_current(model, math.radians(steepest)), model.drive.current_limit
        if current > limit:
            text = f"the motor needs {current:.1f} A to hold a climb of {steepest:g}°, its limit is {limit:.1f} A"
            found.append(Caution("current", text, current, limit))
    return found


def _rubbing(after: Sheet, before: Sheet | None) -> list[Caution]:
    known = {} if before is None else {(r.tyre, r.by): r.depth for r in rubbing(before)}
    found = []
    for rub in rubbing(after):
        if rub.depth > known.get((rub.tyre, rub.by), 0.0) + 0.5:
            text = f"the {rub.tyre} rubs on {rub.by} at full lock and bump, {rub.depth:.1f} mm deep"
            found.append(Caution("rubbing", text, rub.depth, 0.0))
    return found


def _driven(model: RigidModel, records: Iterable[Record]) -> list[Caution]:
    seen = list(records)
    if not seen:
        return []
    found = []
    peak, limit = max(r.peak_current_a for r in seen), model.drive.current_limit
    held = sum(r.peak_current_a >= 0.999 * limit for r in seen)
    if held > 0.5 * len(seen):
        text = f"the motor ran into its limit of {limit:.1f} A in {held} of {len(seen)} trials (peak {peak:.1f} A)"
        found.append(Caution("current", text, peak, limit))
    share = sum(r.servo_saturation for r in seen) / len(seen)
    if share > SATURATED:
        text = f"the servo stood at its stall torque for {100 * share:.0f} % of the time over {len(seen)} trials"
        found.append(Caution("servo", text, share, SATURATED))
    return found


def _loads(
    after: Sheet, model: RigidModel, before: Sheet, was: RigidModel, factor: float
) -> list[Caution]:
    """What the tyres can put into the shafts, and what spinning wheels put into the gears when they are stopped."""
    found = []
    now, then = _grip_torque(after, model), _grip_torque(before, was)
    for end, a, b in (("front", now[0], then[0]), ("rear", now[1], then[1])):
        if a > factor * b:
            text = (f"the {end} shafts carry up to {a / b:.2f} times as much: {1e3 * b:.0f} to {1e3 * a:.0f} mN·m "
                    "with both tyres at their grip")
            found.append(Caution("shaft load", text, a / b, factor))
    for end, wheel in (("front", WHEEL_BODIES[0]), ("rear", WHEEL_BODIES[2])):
        a, b = (float(m.bodies[wheel].I_BBcm[1, 1]) for m in (model, was))
        if a > factor * b:
            text = (f"the {end} wheels have {a / b:.2f} times the spin inertia: gears take that much more when a "
                    "spinning wheel bites")
            found.append(Caution("gear load", text, a / b, factor))
    return found


def _grip_torque(sheet: Sheet, model: RigidModel) -> tuple[float, float]:
    """Torque (N m) on the front and rear axle with both tyres at their friction limit on level ground."""
    load = wheel_loads(sheet).load
    height = model.origins()
    return tuple(  # type: ignore[return-value]
        float(load[2 * k : 2 * k + 2].sum() * model.tyres[2 * k].grip * height[WHEEL_BODIES[2 * k], 2]) for k in (0, 1)
    )
