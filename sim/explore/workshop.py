"""A set-up made into a truck, or the reason why it cannot be: room, rubbing, holes, money, grams, class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from models import room as rooms
from models.change import Change
from models.configuration import configure
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import truck_properties
from models.room import rubbing
from models.spec import Sheet
from sim.decision.caution import RUB_MM
from sim.decision.class_limits import ClassLimits, broken
from sim.decision.drilling import template
from sim.errors import SimError
from sim.explore.dimension import Dimension
from sim.trial.truck import Truck, assemble

Genes = tuple[int, ...]
"""One choice of every dimension."""


@dataclass(frozen=True)
class Bounds:
    """What a set-up must keep to."""

    money: float = float("inf")
    grams: float = float("inf")
    """Most mass it may add, g."""
    limits: ClassLimits | None = None


@dataclass(frozen=True)
class Setup:
    """One set-up that can be built."""

    genes: Genes
    name: str
    truck: Truck
    money: float
    grams: float
    """Added."""


@dataclass
class Workshop:
    """Makes trucks of set-ups; each is made once."""

    sheet: Sheet
    dimensions: tuple[Dimension, ...]
    bounds: Bounds = Bounds()
    base_name: str = "as it is"
    _made: dict[Genes, Setup | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse changes that cost an unknown sum."""
        for dimension in self.dimensions:
            for option in dimension.options:
                if option.change is not None and option.change.cost is None:
                    raise SimError("a change gives no price, so no budget can hold it", field="price",
                                   value=option.label, remedy="Add price and currency to its file (0 for a free one)")

    @property
    def now(self) -> Genes:
        """The truck as it is."""
        return tuple(dimension.now for dimension in self.dimensions)

    def changes(self, genes: Genes) -> list[tuple[int, Change]]:
        """(dimension, change) of everything that is not as it was."""
        chosen = [d.options[g].change for d, g in zip(self.dimensions, genes, strict=True)]
        return [(k, change) for k, change in enumerate(chosen) if change is not None]

    def label(self, genes: Genes) -> str:
        """The set-up in words."""
        labels = [d.options[g].label for d, g in zip(self.dimensions, genes, strict=True) if d.options[g].change]
        return " + ".join(labels) or self.base_name

    def money(self, genes: Genes) -> float:
        """Price of all changes."""
        return sum(change.cost.price for _, change in self.changes(genes) if change.cost is not None)

    def build(self, genes: Genes) -> Setup | str:
        """The set-up, or why there is none."""
        if genes not in self._made:
            self._made[genes] = self._build(genes)
        return self._made[genes]

    def _build(self, genes: Genes) -> Setup | str:
        money = self.money(genes)
        if money > self.bounds.money + 1e-9:
            return f"costs {money:g}, allowed {self.bounds.money:g}"
        changes = [change for _, change in self.changes(genes)]
        try:
            sheet = apply(self.sheet, changes)
            grams = 1000.0 * (truck_properties(sheet).mass - self._base_mass)
            fault = self._fault(genes, sheet, grams, [change.name for change in changes])
            if fault:
                return fault
            return Setup(genes, self.label(genes), assemble(configure(self.sheet, changes, self.label(genes))), money,
                         grams)
        except BuildSheetError as error:
            return error.problem

    def _fault(self, genes: Genes, sheet: Sheet, grams: float, names: Sequence[str]) -> str:
        if grams > self.bounds.grams + 1e-6:
            return f"adds {grams:.0f} g, allowed {self.bounds.grams:g}"
        if self.bounds.limits is not None:
            faults = broken(self.bounds.limits, sheet, tuple(names))
            if faults:
                return faults[0]
        return self._no_room(genes) or self._rubs(sheet) or self._bad_holes(genes, sheet)

    def _no_room(self, genes: Genes) -> str:
        """Whether what moves runs into anything, everything else being as the set-up has it."""
        changed = self.changes(genes)
        for k, _ in changed:
            moved = self.dimensions[k].moved
            if moved is None:
                continue
            without = apply(self.sheet, [change for j, change in changed if j != k])
            there = rooms.room(without, rooms.find(without, moved.part).name, moved.axis, along=moved.along)
            option = self.dimensions[k].options[genes[k]]
            spot = there.now + option.value - self.dimensions[k].options[self.dimensions[k].now].value
            blocked = there.at(spot)
            if blocked or not there.low - 1e-6 <= spot <= there.high + 1e-6:
                return f"{option.label}: runs into {blocked[0].by if blocked else there.ends[int(spot > there.high)]}"
        return ""

    def _rubs(self, sheet: Sheet) -> str:
        """Whether a tyre meets something that it did not meet before, or deeper."""
        before = {(rub.tyre, rub.by): rub.depth for rub in self._base_rubs}
        for rub in rubbing(sheet):
            if rub.depth > before.get((rub.tyre, rub.by), 0.0) + RUB_MM:
                return f"the {rub.tyre} rubs on {rub.by}, {rub.depth:.1f} mm deep"
        return ""

    def _bad_holes(self, genes: Genes, sheet: Sheet) -> str:
        drilled = any(d.moved is not None and d.moved.drill and g != d.now
                      for d, g in zip(self.dimensions, genes, strict=True))
        if not drilled:
            return ""
        try:
            faults = template(self.sheet, sheet, "holes").faults
        except SimError:  # nothing that moves has holes
            return ""
        return faults[0] if faults else ""

    @cached_property
    def _base_mass(self) -> float:
        return truck_properties(self.sheet).mass

    @cached_property
    def _base_rubs(self) -> tuple[rooms.Rub, ...]:
        return rubbing(self.sheet)

