"""What may change on a truck, read from a small TOML file: positions, weights, hubs, values, parts of a drawer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from models.errors import BuildSheetError
from models.record import read_record
from models.spec import BodyName, Mm3, NonNegative, Positive, Spec

Name = Annotated[str, Field(min_length=1, max_length=200)]


class Movable(Spec):
    """A part that may go elsewhere along one axis."""

    part: Name
    along: tuple[Name, ...] = ()
    """Parts that go with it."""
    axis: Literal["x", "y", "z"] = "x"
    step_mm: Positive = 2.0
    low_mm: float | None = None
    high_mm: float | None = None
    drill: bool = True
    """Whether the holes of what moves must find their place, away from edges, old holes and what lies behind."""
    price: NonNegative = 0.0


class BallastPlace(Spec):
    """A place for ballast."""

    name: Name
    body: BodyName = "chassis"
    at_mm: Mm3
    """Of a pair of bodies, the left one's."""
    size_mm: tuple[NonNegative, NonNegative, NonNegative] = (0.0, 0.0, 0.0)
    shape: Literal["box", "cylinder", "ring"] = "box"
    bore_mm: NonNegative = 0.0
    most_g: Positive
    """On a pair of bodies, each."""
    step_g: Positive = 5.0
    price_per_g: NonNegative = 0.0


class Hubs(Spec):
    """Longer hubs: wheels of both axles, or of one, set out."""

    end: Literal["both", "front", "rear"] = "both"
    most_mm: Positive
    """Out, each wheel."""
    step_mm: Positive = 1.0
    grams_per_mm: NonNegative = 0.0
    """Each wheel."""
    price: NonNegative = 0.0


class Dial(Spec):
    """Keys of the sheet that may take other values: spring rate, preload, overdrive."""

    name: Name
    keys: tuple[Name, ...]
    values: Annotated[tuple[float, ...], Field(min_length=1)]
    unit: str = ""
    unset: tuple[Name, ...] = ()
    """Keys that give way to these, as tooth counts do to an overdrive in percent."""
    price: NonNegative = 0.0
    """Of any of the values."""


class DrawerPick(Spec):
    """At most one of several change files: tyres, foams, springs of a drawer."""

    name: Name
    changes: Annotated[tuple[Name, ...], Field(min_length=1)]
    """Files, looked for beside this one."""


class Space(Spec):
    """All that may change."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Name
    note: str = ""
    invented: bool = False
    currency: Annotated[str, Field(min_length=1, max_length=8)]
    move: tuple[Movable, ...] = ()
    ballast: tuple[BallastPlace, ...] = ()
    hubs: tuple[Hubs, ...] = ()
    dial: tuple[Dial, ...] = ()
    pick: tuple[DrawerPick, ...] = ()


def load_space(path: str | Path) -> Space:
    """Read and validate a space file.

    :raises BuildSheetError: It cannot be read, a key or value is wrong, or nothing in it is free.
    """
    file = Path(path)
    space = read_record(Space, file)
    if not any((space.move, space.ballast, space.hubs, space.dial, space.pick)):
        raise BuildSheetError("nothing in it is free.", file=file,
                              remedy="Give it [[move]], [[ballast]], [[hubs]], [[dial]] or [[pick]].")
    return space
