"""Base truck + changes = configuration: applied in one fixed order, with a name, a price and a hash of its physics."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from models.change import Change, load_change
from models.defaults import resolve
from models.edit import apply
from models.errors import BuildSheetError
from models.mesh_file import read_mesh_file
from models.sheet import load_sheet
from models.spec import Money, Sheet

_NOT_PHYSICS = {
    "sheet": {"name", "invented", "note", "photo", "truck_price", "assumed", "grip", "weighed"},
    "part": {"name", "price", "currency", "source", "place_source", "holes", "lead_mm", "note"},
    "tyre": {"source"},
    "link": {"name"},
}
"""Keys that move nothing. The sheet's own ``grip`` has gone into the tyres; hull names stay, for outcomes name them."""


@dataclass(frozen=True)
class Configuration:
    """A truck as it would be driven."""

    name: str
    sheet: Sheet
    """With the changes made and everything open filled in (see :func:`models.defaults.resolve`)."""
    changes: tuple[Change, ...]
    hash: str
    """64 hexadecimal digits over everything that can act on how the truck drives; alike in every process."""

    @property
    def price(self) -> tuple[Money, ...]:
        """What the changes cost together, one sum per currency; empty if none of them has a price."""
        sums: dict[str, float] = {}
        for change in self.changes:
            if change.cost is not None:
                sums[change.cost.currency] = sums.get(change.cost.currency, 0.0) + change.cost.price
        return tuple(Money(price=price, currency=currency) for currency, price in sums.items())

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Names of the changes that give no price."""
        return tuple(change.name for change in self.changes if change.cost is None)


def configure(sheet: Sheet, changes: Sequence[Change] = (), name: str | None = None) -> Configuration:
    """Make a configuration of a sheet as loaded and its changes; the same set of changes in any order is the same.

    :raises BuildSheetError: a change does not fit the truck or another change (see :func:`models.edit.apply`).
    """
    resolved = resolve(apply(sheet, changes))
    name = " + ".join([sheet.name, *(change.name for change in changes)]) if name is None else name
    return Configuration(name, resolved, tuple(changes), content_hash(resolved))


def load_configuration(build: str | Path, changes: Sequence[str | Path] = (), name: str | None = None) -> Configuration:
    """Read a build sheet and change files and make the configuration.

    :raises BuildSheetError: see :func:`models.sheet.load_sheet`, :func:`models.change.load_change`, :func:`configure`.
    """
    sheet = load_sheet(build)
    loaded = [load_change(change) for change in changes]
    try:
        return configure(sheet, loaded, name)
    except BuildSheetError as fault:
        files = {change.name: file for change, file in zip(loaded, changes, strict=True)}
        raise fault.at(file=files.get(fault.change or "", build)) from None


def content_hash(sheet: Sheet) -> str:
    """SHA-256 (hexadecimal) of the canonical JSON of the sheet's physics.

    Names, prices, notes and photos are left out. The order of the parts counts, since sums depend on it in their last
    bits; of a mesh its content counts and not its path.
    """
    physics = _without(sheet.model_dump(mode="json", by_alias=True), "sheet")
    physics["parts"] = [_without(part, "part") for part in physics["parts"]]
    physics["tyres"] = {end: _without(tyre, "tyre") for end, tyre in physics["tyres"].items()}
    for axle in physics["axles"].values():
        axle["links"] = [_without(link, "link") for link in axle["links"]]
    for shape, dumped in zip(sheet.hull, physics["hull"], strict=True):
        dumped["file"] = None if shape.file is None else hashlib.sha256(read_mesh_file(shape)).hexdigest()
    text = json.dumps(_plain(physics), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _without(record: Mapping[str, Any], kind: str) -> dict[str, Any]:
    return {key: value for key, value in record.items() if key not in _NOT_PHYSICS[kind]}


def _plain(value: Any) -> Any:
    """Give every number one spelling: -0.0 is 0.0."""
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_plain(entry) for entry in value]
    return value + 0.0 if isinstance(value, float) else value
