"""A change: parts added, removed, replaced or moved, values set, and what it costs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from models.errors import BuildSheetError
from models.key import join
from models.record import read_record
from models.sheet import with_mesh_paths
from models.spec import BodyName, Hole, HullShape, Mm3, Money, NonNegative, Part, Positive, Source, Spec

Name = Annotated[str, Field(min_length=1, max_length=200)]


class Replacement(Spec):
    """A part taken out and another put in its place: what is not given stays as it was."""

    part: Name
    name: Name | None = None
    body: BodyName | None = None
    mass_g: Annotated[float, Field(ge=0, le=20_000)] | None = None
    mass_each_g: Annotated[float, Field(ge=0, le=5_000)] | None = None
    at_mm: Mm3 | None = None
    size_mm: tuple[NonNegative, NonNegative, NonNegative] | None = None
    shape: Literal["box", "cylinder", "ring", "shell"] | None = None
    bore_mm: NonNegative | None = None
    price: NonNegative | None = None
    currency: str | None = None
    source: Source | None = None
    place_source: Source | None = None
    holes: tuple[Hole, ...] | None = None
    lead_mm: Positive | None = None
    note: str | None = None


class Move(Spec):
    """A part, or all parts on a body, put elsewhere: to a place or by an offset (of a pair, the left one's)."""

    part: Name | None = None
    body: BodyName | None = None
    to_mm: Mm3 | None = None
    by_mm: Mm3 | None = None

    @property
    def what(self) -> str:
        """The part or body that is moved."""
        return self.part or self.body or ""


class Change(Spec):
    """One change, as validated. A hull shape with the name of a part is its skin: it moves and goes with the part."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Name
    scale: Annotated[float, Field(ge=4, le=40)] | None = None
    """24 for a change that is made for 1/24 trucks; left out, it fits any."""
    invented: bool = False
    note: str = ""
    photo: str | None = None
    price: NonNegative | None = None
    currency: Annotated[str, Field(min_length=1, max_length=8)] | None = None
    excludes: tuple[Name, ...] = ()
    """Names of changes that cannot be on the truck together with this one."""
    remove: tuple[Name, ...] = ()
    replace: tuple[Replacement, ...] = ()
    add: tuple[Part, ...] = ()
    add_hull: tuple[HullShape, ...] = ()
    move: tuple[Move, ...] = ()
    unset: tuple[Name, ...] = ()
    """Dotted keys that go back to what the sheet leaves open."""
    set: dict[str, Any] = Field(default_factory=dict)
    """Dotted keys and their new values."""

    @property
    def cost(self) -> Money | None:
        """The change's own price, or else the sum of the prices of what it adds and puts in; None if not known."""
        if self.price is not None and self.currency is not None:
            return Money(price=self.price, currency=self.currency)
        bought: list[Part | Replacement] = [*self.add, *self.replace]
        prices = [part.price for part in bought]
        currencies = {part.currency for part in bought}
        known = [price for price in prices if price is not None]
        currency = currencies.pop() if len(currencies) == 1 else None
        return Money(price=sum(known), currency=currency) if currency and len(known) == len(prices) else None


def load_change(path: str | Path) -> Change:
    """Read and validate one change file (TOML).

    :raises BuildSheetError: the file cannot be read, a key or value is wrong, or it changes nothing.
    """
    file = Path(path)
    change = read_record(Change, file)
    change = change.model_copy(update={"add_hull": with_mesh_paths(change.add_hull, file, "add_hull")})
    try:
        check_change(change)
    except BuildSheetError as fault:
        raise fault.at(file) from None
    return change


def check_change(change: Change) -> None:
    """Check what no single key of a change can show.

    :raises BuildSheetError: it changes nothing, or a price, move or place is half there.
    """
    if not any((change.remove, change.replace, change.add, change.add_hull, change.move, change.unset, change.set)):
        raise BuildSheetError(
            "this change changes nothing.",
            remedy="Give it at least one of remove, [[replace]], [[add]], [[add_hull]], [[move]], unset or [set].",
        )
    if change.price is not None and change.currency is None:
        raise BuildSheetError("a price without a currency.", remedy='Add `currency = "..."`, for example "USD".',
                              field="currency")
    for index, move in enumerate(change.move, start=1):
        if (move.part is None) == (move.body is None):
            raise BuildSheetError("a move names one thing.", remedy='Write either part = "..." or body = "...".',
                                  field=f"move.{index}")
        if (move.to_mm is None) == (move.by_mm is None) or (move.body is not None and move.to_mm is not None):
            raise BuildSheetError("a move goes either to a place or by an offset (a whole body only by an offset).",
                                  remedy="Write either to_mm = [x, y, z] or by_mm = [x, y, z].",
                                  field=join(["move", move.what]))
