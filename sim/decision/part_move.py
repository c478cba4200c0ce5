"""A part and where it might go: what is free, and what the handbook says of every place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models import room as rooms
from models.change import Change
from models.configuration import configure
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import contact_places, truck_properties, wheel_loads
from models.room import AXES, AxisName, Blocked, Room
from models.spec import Mm3, Sheet
from models.stability import TipAngles, tip_angles
from sim.errors import SimError
from sim.trial.truck import Truck, assemble

SWEEP = 41
"""Positions at which the handbook numbers are worked out."""
LEAST_MOVE_MM = 4.0


@dataclass(frozen=True)
class Static:
    """The handbook's view of one position."""

    position: float
    """mm along the axis."""
    front_percent: float
    tip_deg: TipAngles
    blocked: tuple[Blocked, ...]


@dataclass(frozen=True)
class PartMove:
    """A part and where it might go."""

    original: Sheet
    """As loaded."""
    sheet: Sheet
    """With the changes made, before the move."""
    changes: tuple[Change, ...]
    part: str
    along: tuple[str, ...]
    """Parts that go with it."""
    axis: AxisName
    room: Room
    targets: tuple[float, ...]
    """Positions to drive, other than the present one."""
    across: Mm3
    """mm it is moved by off the axis."""

    def at(self, position: float) -> Change:
        """The change that puts it there."""
        by = list(self.across)
        by[AXES.index(self.axis)] = position - self.room.now
        moved = [{"part": name, "by_mm": by} for name in (self.part, *self.along)]
        name = f"{self.part} at {self.axis} = {position:g} mm"
        return Change.model_validate({"schema": 1, "name": name, "price": 0, "currency": "-", "move": moved})

    def truck(self, position: float | None) -> Truck:
        """The truck with the part there; None for where it is now."""
        if position is None:
            return assemble(configure(self.original, self.changes, f"{self.part} where it is"))
        change = self.at(position)
        return assemble(configure(self.sheet, [change], change.name))


def plan(
    original: Sheet,
    changes: Sequence[Change],
    part: str,
    *,
    axis: AxisName = "x",
    along: Sequence[str] = (),
    to: Sequence[float] = (),
    lift: float = 0.0,
    lead_to: str | None = None,
) -> PartMove:
    """Find out where the part could go.

    :param original: Sheet as loaded.
    :param changes: Made before the move.
    :param part: Its name, or a beginning that only one has.
    :param axis: Along which it is moved.
    :param along: Parts that go with it.
    :param to: Positions (mm) to look at; left out, the ends and middles of what is free.
    :param lift: mm upwards that it is moved as well.
    :param lead_to: Part at which its lead ends.
    :raises BuildSheetError: No such part, or a position outside of the truck.
    :raises SimError: Nowhere to go.
    """
    sheet = apply(original, changes)
    name = rooms.find(sheet, part).name
    with_it = tuple(rooms.find(sheet, other).name for other in along)
    across: Mm3 = (0.0, 0.0, lift if axis != "z" else 0.0)
    if across[2]:
        _check_lift(rooms.room(sheet, name, "z", along=with_it), lift)
    there = rooms.room(sheet, name, axis, along=with_it, by_mm=across, lead_to=lead_to)
    for position in to:
        if not there.low <= position <= there.high:
            raise BuildSheetError(
                f"{axis} = {position:g} mm is out of reach: from {there.low:.0f} mm ({there.ends[0]}) to "
                f"{there.high:.0f} mm ({there.ends[1]}).",
                remedy="Choose a position within.",
                field="to",
                value=position,
            )
    targets = tuple(dict.fromkeys(p for p in to if p != there.now or lift)) or (() if to else usual_targets(there))
    if not targets:
        raise SimError(f"{name} has nowhere to go along {axis}: {_in_the_way(there)}", field="part", value=part,
                       remedy="Name a position with --to, move it up with --lift, or look along another axis")
    return PartMove(original, sheet, tuple(changes), name, with_it, axis, there, targets, across)


def _check_lift(upwards: Room, lift: float) -> None:
    if upwards.low <= upwards.now + lift <= upwards.high:
        return
    raise BuildSheetError(
        f"that puts it at z = {upwards.now + lift:g} mm, out of the truck: from {upwards.low:.0f} mm "
        f"({upwards.ends[0]}) to {upwards.high:.0f} mm ({upwards.ends[1]}).",
        remedy="Choose a lift within.", field="lift", value=lift,
    )


def usual_targets(there: Room) -> tuple[float, ...]:
    """Whole millimetres at the ends of every free stretch, and half way where it is long; at most four."""
    found: list[float] = []
    for low, high in there.free():
        low, high = float(np.ceil(low)), float(np.floor(high))
        spots = [low, high] if high - low < 40.0 else [low, round((low + high) / 2.0), high]
        found += [p for p in spots if low <= high and abs(p - there.now) >= LEAST_MOVE_MM]
    found = sorted(dict.fromkeys(found), key=lambda p: -abs(p - there.now))[:4]
    return tuple(sorted(found))


def _in_the_way(there: Room) -> str:
    near = sorted(there.blocked, key=lambda b: min(abs(b.low - there.now), abs(b.high - there.now)))[:2]
    return " and ".join(dict.fromkeys(b.by for b in near)) or f"{there.ends[0]} and {there.ends[1]}"


def static_sweep(move: PartMove) -> tuple[Static, ...]:
    """Front bias and rigid tip angles over the whole of the room."""
    spots = np.linspace(move.room.low, move.room.high, SWEEP)
    spots = np.unique(np.concatenate([spots, [move.room.now, *move.targets]]))
    found = []
    for position in spots:
        try:
            sheet = apply(move.sheet, [move.at(float(position))])
        except BuildSheetError:  # a place where this truck could not stand
            continue
        found.append(_static(move, sheet, float(position)))
    return tuple(found)


def _static(move: PartMove, sheet: Sheet, position: float) -> Static:
    truck = truck_properties(sheet)
    tips = tip_angles(contact_places(sheet), truck.cg).in_degrees()
    return Static(position, wheel_loads(sheet, truck).front_percent, tips, move.room.at(position))


