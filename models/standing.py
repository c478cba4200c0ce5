"""Whether a sheet's wheels are where they stand: at the loaded radius of their squished tyres.

A place on the sheet is one of the truck standing at ride height, so the middle of a wheel is nearer the ground than
half its tyre's diameter, by the squish. The rigid model puts wheels there by itself; the centre of gravity, and every
handbook angle from it, follows the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.defaults import resolve
from models.massprops import wheel_loads
from models.spec import Sheet
from models.stance import stances

TOLERANCE = 0.03
"""Of the tyre's diameter (assumed): a ruler's error, or softer foams in the same tyre; half the diameter in place of
the loaded radius is some 4 %. With a fifth of the mass in the wheels it moves the centre of gravity by less than a
hundredth of the diameter."""


@dataclass(frozen=True)
class WheelHeight:
    """A part of a wheel that the sheet puts at another height than the wheel stands at."""

    part: str
    height_mm: float
    """On the sheet."""
    loaded_mm: float
    """Loaded radius."""

    @property
    def text(self) -> str:
        """What to do about it, in a line."""
        return (f"{self.part} is at z = {self.height_mm:g} mm, but its wheel stands at {self.loaded_mm:.1f} mm on the "
                "squished tyre; measure the hub's height with the truck on its wheels")


def wheel_heights(sheet: Sheet) -> tuple[WheelHeight, ...]:
    """Parts of wheels whose height on the sheet is off the loaded radius by more than ``TOLERANCE``.

    :raises BuildSheetError: a truck that cannot stand, see :func:`models.stance.stances`.
    """
    sheet = resolve(sheet)
    front, rear = stances(sheet, wheel_loads(sheet))
    found = []
    for part in sheet.parts:
        stance = {"front_wheels": front, "rear_wheels": rear}.get(part.body)
        if stance is None:
            continue
        loaded = 1000.0 * stance.height
        if abs(part.at_mm[2] - loaded) > TOLERANCE * stance.tyre.outside_diameter_mm:
            found.append(WheelHeight(part.name, part.at_mm[2], loaded))
    return tuple(found)
