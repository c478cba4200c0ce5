"""Class limits: what the rules of an event let on the start line. Read from a small TOML file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from models.drive import front_lead
from models.massprops import truck_properties
from models.record import read_record
from models.spec import Positive, Sheet, Spec

Name = Annotated[str, Field(min_length=1, max_length=200)]


class ClassLimits(Spec):
    """What is allowed; anything left out is free."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Name
    note: str = ""
    invented: bool = False
    tyre_diameter_mm_most: Positive | None = None
    wheelbase_mm_least: Positive | None = None
    wheelbase_mm_most: Positive | None = None
    width_mm_most: Positive | None = None
    """Over the tyres of the wider axle."""
    mass_g_least: Positive | None = None
    mass_g_most: Positive | None = None
    overdrive_percent_most: Annotated[float, Field(ge=0, le=100)] | None = None
    """By gears, either way; 0 forbids any."""
    forbidden: tuple[Name, ...] = ()
    """Names of changes or parts that may not be on the truck."""


def load_class_limits(path: str | Path) -> ClassLimits:
    """Read and validate a limits file.

    :raises BuildSheetError: It cannot be read, or a key or value is wrong.
    """
    return read_record(ClassLimits, Path(path))


def broken(limits: ClassLimits, sheet: Sheet, changes: tuple[str, ...] = ()) -> list[str]:
    """Every rule that a truck breaks, with its number; empty if it may start."""
    width = max(axle.track_mm + tyre.width_mm for axle, tyre in ((sheet.axles.front, sheet.tyres.front),
                                                                 (sheet.axles.rear, sheet.tyres.rear)))
    tyre = max(sheet.tyres.front.outside_diameter_mm, sheet.tyres.rear.outside_diameter_mm)
    mass = 1000.0 * truck_properties(sheet).mass
    lead = 100.0 * abs(front_lead(sheet.driveline) - 1.0)
    checks = (
        ("tyre diameter", tyre, None, limits.tyre_diameter_mm_most, "mm"),
        ("wheelbase", sheet.wheelbase_mm, limits.wheelbase_mm_least, limits.wheelbase_mm_most, "mm"),
        ("width over the tyres", width, None, limits.width_mm_most, "mm"),
        ("mass", mass, limits.mass_g_least, limits.mass_g_most, "g"),
        ("overdrive", lead, None, limits.overdrive_percent_most, "%"),
    )
    found = []
    for what, value, least, most, unit in checks:
        if most is not None and value > most + 1e-6:
            found.append(f"{what} {value:.4g} {unit}, allowed {most:g}")
        if least is not None and value < least - 1e-6:
            found.append(f"{what} {value:.4g} {unit}, at least {least:g} is asked")
    there = {*changes, *(part.name for part in sheet.parts)}
    return found + [f"{name} is forbidden" for name in limits.forbidden if name in there]
