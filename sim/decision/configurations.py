"""The trucks of a comparison side by side: what to mind of each, and where each tips."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pydantic import ValidationError

from models.footprint import Footing, level_footing
from models.massprops import contact_places, truck_properties
from models.spec import Sheet
from models.stability import TipAngles, tip_angles
from sim.compare.comparison import CellResult, Comparison
from sim.decision.caution import Caution, Exertion, cautions
from sim.decision.obstacle_mix import Line
from sim.store.store import StoredTruck


@dataclass(frozen=True)
class Member:
    """One configuration of which the store keeps the build sheet."""

    config: str
    """Content hash."""
    name: str
    series: int
    """Its number in the order of colours; 0 is the baseline."""
    sheet: Sheet

    @property
    def tips(self) -> TipAngles:
        """Handbook tip angles (deg) of the rigid truck."""
        return tip_angles(contact_places(self.sheet), truck_properties(self.sheet).cg).in_degrees()

    @property
    def footing(self) -> Footing:
        """Its other two measures of stability at rest on the level."""
        return level_footing(contact_places(self.sheet), truck_properties(self.sheet).cg)


def lineup(comparison: Comparison, known: Mapping[str, StoredTruck]) -> tuple[Member, ...]:
    """The configurations of a comparison in the order of its charts; without the baseline's sheet there are none."""
    hashes = dict.fromkeys([comparison.baseline.hash, *(cell.config for cell in comparison.cells)])
    names = list(dict.fromkeys(known[config].name if config in known else config for config in hashes))
    found = []
    for config in hashes:
        try:
            sheet = Sheet.model_validate(known[config].facts["sheet"])
        except (KeyError, ValidationError):  # a store of an older version
            continue
        found.append(Member(config, known[config].name, names.index(known[config].name), sheet))
    return tuple(found) if found and found[0].config == comparison.baseline.hash else ()


def warned(
    members: Sequence[Member], comparison: Comparison, exertion: Mapping[str, Exertion]
) -> list[tuple[str, list[Caution]]]:
    """Cautions of the baseline, and of every other truck what it adds to them or makes clearly worse.

    What was driven at stated levels counts as asked for; the levels of a search for a limit do not.
    """
    asked = [_line(cell) for cell in comparison.cells if cell.obstacle not in comparison.searched]
    if not members:
        return []
    base = members[0]
    found = [(base.name, cautions(base.sheet, None, asked, exertion.get(base.config)))]
    for one in members[1:]:
        found.append((one.name, cautions(one.sheet, base.sheet, asked, exertion.get(one.config),
                                         exertion.get(base.config))))
    return found


def _line(cell: CellResult) -> Line:
    at = cell.level
    return Line(cell.obstacle, 1.0, at, cell.unit, 1.0, at, at, at, (at, at))
