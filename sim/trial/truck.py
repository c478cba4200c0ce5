"""Trucks from files: build sheet and changes, assembled and with what is worth saying about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from models.assemble import rigid_model
from models.configuration import Configuration, load_configuration
from models.massprops import truck_properties, wheel_loads
from models.rigid import RigidModel


@dataclass(frozen=True)
class Truck:
    """A configuration ready to drive."""

    name: str
    hash: str
    configuration: Configuration
    model: RigidModel
    facts: dict[str, Any]
    """What a store remembers beside the results."""


def load_truck(build: str | Path, changes: Sequence[str | Path] = (), *, name: str | None = None) -> Truck:
    """Read a build sheet and changes and assemble the truck.

    :raises BuildSheetError: A file that cannot be used, or changes that do not fit.
    """
    made = assemble(load_configuration(build, changes, name))
    # Whoever has only the store can drive it again. Names without their folders: those say where somebody works.
    files = {"build": _kept(build), "changes": [_kept(change) for change in changes]}
    return replace(made, facts={**made.facts, "files": files})


def _kept(file: str | Path) -> dict[str, str]:
    path = Path(file)
    return {"name": path.name, "text": path.read_text(encoding="utf-8-sig")}


def assemble(configuration: Configuration) -> Truck:
    """Assemble the truck of a configuration."""
    return Truck(configuration.name, configuration.hash[:16], configuration, rigid_model(configuration.sheet),
                 _facts(configuration))


def _facts(configuration: Configuration) -> dict[str, Any]:
    sheet = configuration.sheet
    truck = truck_properties(sheet)
    loads = wheel_loads(sheet, truck)
    return {
        "build": sheet.name,
        "scale": sheet.scale,
        "invented": sheet.invented,
        "changes": [change.name for change in configuration.changes],
        "mass_g": 1e3 * truck.mass,
        "front_percent": loads.front_percent,
        "cg_mm": [1e3 * float(x) for x in truck.cg],
        "price": [{"price": sum_.price, "currency": sum_.currency} for sum_ in configuration.price],
        "unpriced": list(configuration.unpriced),
        "assumed": list(sheet.assumed),
        # Whoever has only the store can still draw the truck.
        "sheet": sheet.model_dump(mode="json", by_alias=True),
    }
