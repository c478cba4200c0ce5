"""A drawer of changes and the trucks that every handful of them makes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from models.change import Change
from models.configuration import configure
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import contact_places, truck_properties
from models.spec import Sheet
from models.stability import tip_angles
from sim.errors import SimError
from sim.trial.truck import Truck, assemble

Masks = NDArray[np.int64]
"""Sets of changes: bit k stands for change k."""
MOST = 14
"""Changes whose every combination is looked at: 2 to this power sets."""


@dataclass
class Drawer:
    """Changes to one truck. A set of them is a number whose bits say which."""

    sheet: Sheet
    changes: tuple[Change, ...]
    base_name: str = "as it is"
    _trucks: dict[int, Truck] = field(default_factory=dict)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the changes."""
        return tuple(change.name for change in self.changes)

    @property
    def whole(self) -> int:
        """The set of all."""
        return (1 << len(self.changes)) - 1

    def members(self, mask: int) -> tuple[int, ...]:
        """Indices of the changes in a set."""
        return tuple(k for k in range(len(self.changes)) if mask >> k & 1)

    def label(self, mask: int) -> str:
        """The set in words."""
        return " + ".join(self.names[k] for k in self.members(mask)) or self.base_name

    def truck(self, mask: int) -> Truck:
        """The truck with these changes.

        :raises BuildSheetError: They do not go together.
        """
        if mask not in self._trucks:
            chosen = [self.changes[k] for k in self.members(mask)]
            self._trucks[mask] = assemble(configure(self.sheet, chosen, self.label(mask)))
        return self._trucks[mask]

    def clashes(self) -> tuple[tuple[int, int, str], ...]:
        """Pairs of changes that cannot be on the truck together, and why."""
        found = []
        for a, b in combinations(range(len(self.changes)), 2):
            try:
                apply(self.sheet, [self.changes[a], self.changes[b]])
            except BuildSheetError as fault:
                found.append((a, b, fault.problem))
        return tuple(found)

    def grams(self, mask: int) -> float:
        """Mass the set adds, g."""
        sheet = apply(self.sheet, [self.changes[k] for k in self.members(mask)])
        return 1000.0 * (truck_properties(sheet).mass - truck_properties(self.sheet).mass)

    def tip_degrees(self, mask: int) -> float:
        """Change of the mean of the four handbook tip angles (left, right, back, front), degrees."""
        sheet = apply(self.sheet, [self.changes[k] for k in self.members(mask)])
        return _mean_tip(sheet) - _mean_tip(self.sheet)


def drawer(sheet: Sheet, changes: Sequence[Change]) -> Drawer:
    """Check a handful of changes one by one.

    :raises BuildSheetError: One of them does not fit the truck.
    :raises SimError: None, too many, or two of the same name.
    """
    if not changes:
        raise SimError("no change is given", field="change", remedy="Name at least one change file")
    if len(changes) > MOST:
        raise SimError("too many changes to look at every set of them", field="change", value=len(changes),
                       remedy=f"Give at most {MOST}")
    names = [change.name for change in changes]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise SimError("two changes have the same name", field="change", value=twice, remedy="Give each its own")
    for change in changes:
        apply(sheet, [change])
    return Drawer(sheet, tuple(changes))


def prices(changes: Sequence[Change]) -> tuple[tuple[float | None, ...], str]:
    """Price of each change (None where it gives none) and their one currency ("" if none gives a price).

    :raises SimError: Several currencies: sums and comparisons would mean nothing.
    """
    costs = [change.cost for change in changes]
    currencies = {cost.currency for cost in costs if cost is not None and cost.price > 0.0}
    if len(currencies) > 1:
        raise SimError("the changes have prices in several currencies", field="currency",
                       value=", ".join(sorted(currencies)), remedy="Convert them to one")
    free = {cost.currency for cost in costs if cost is not None}
    currency = next(iter(currencies), min(free, default=""))
    return tuple(None if cost is None else cost.price for cost in costs), currency


def allowed(count: int, clashes: Iterable[tuple[int, int]]) -> Masks:
    """Every set of ``count`` changes without two that clash, ascending."""
    masks = np.arange(1 << count, dtype=np.int64)
    keep = np.ones(len(masks), dtype=bool)
    for a, b in clashes:
        keep &= ~(((masks >> a) & 1).astype(bool) & ((masks >> b) & 1).astype(bool))
    return masks[keep]


def bits(masks: Masks, count: int) -> NDArray[np.float64]:
    """(sets, changes) ones where a set holds a change."""
    return np.asarray((np.asarray(masks)[:, None] >> np.arange(count)) & 1, dtype=np.float64)


def _mean_tip(sheet: Sheet) -> float:
    angles = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    return float(np.mean([angles.left, angles.right, angles.back, angles.front]))
