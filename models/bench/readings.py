"""The readings file: what was read at the bench, as it was read, with units.

A reading is text with its unit (``"336 g"``), or a bare number where ``[units]`` declares the unit of its kind.
Nothing is converted here; :mod:`models.bench.intake` does that.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from models.bench.quantity import Kind, known_unit, read
from models.errors import BuildSheetError
from models.record import read_record
from models.spec import NonNegative, Spec

Reading = str | float
Series = Annotated[tuple[Reading, ...], Field(min_length=1, max_length=200)]
End = Literal["front", "rear"]
Side = Literal["left", "right", "back", "front"]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Row = tuple[Reading, Reading]


class Scale(Spec):
    """The scale all masses were read on."""

    step: Reading
    """Smallest change it shows."""
    accuracy: Reading | None = None
    """Largest error of any reading (plus or minus), from its leaflet or a check weight; left out: one step."""


class Rulers(Spec):
    """How close lengths and angles can be read (plus or minus)."""

    length: Reading | None = None
    angle: Reading | None = None


class Wheels(Spec):
    """Readings under each wheel, truck level, the others on blocks of the scale's height or on scales of their own."""

    front_left: Series
    front_right: Series
    rear_left: Series
    rear_right: Series


class AxleLoads(Spec):
    """Readings under each axle, truck level."""

    front: Series
    rear: Series


class Lift(Spec):
    """One lift: an axle raised, the scale under the other one."""

    raised: End
    height: Reading | None = None
    """Of the raised axle's centre over where it was when the truck stood level."""
    angle: Reading | None = None
    """Instead of the height: of the line through both axle centres."""
    load: Series
    going: Literal["up", "down"] = "up"
    """Reached from below or from above: friction shows as a difference between the two."""


class PartMass(Spec):
    """One part on the scale, or the whole truck before and after it was taken off."""

    name: Name
    mass: Series | None = None
    with_it: Series | None = None
    without_it: Series | None = None


class Squish(Spec):
    """A tyre pressed on the scale: rows of load and deflection."""

    axle: End
    rows: Annotated[tuple[Row, ...], Field(min_length=1, max_length=100)]


class FoamGap(Spec):
    """Diameters across the bare foam and inside the carcass."""

    axle: End
    foam_diameter: Reading
    tyre_diameter: Reading
    tread_thickness: Reading
    """Of carcass and tread together at the crown."""


class BlockPull(Spec):
    """A free-rolling axle pulled slowly over a block, level, at the height of its middle."""

    axle: End
    height: Reading
    """Of the block."""
    pulls: Series
    """Largest pull of each try, both wheels together."""
    rolling: Series | None = None
    """Pull on the flat."""
    load: Reading | None = None
    """Of the axle on the scale; left out, the sheet's."""


class SlipBoard(Spec):
    """Angles at which the truck, wheels held, began to slip."""

    surface: Name
    axle: End | None = None
    angles: Series


class Tilt(Spec):
    """Angles at which the truck tipped on a board."""

    to: Side
    """Side it falls to: ``back`` is nose up, ``front`` nose down."""
    angles: Series
    upper_wheels: Literal["leave together", "front first", "rear first"] = "leave together"


class Sag(Spec):
    """Lengths of one shock, eye to eye."""

    axle: End
    hanging: Reading
    resting: Reading
    bottomed: Reading


class Spring(Spec):
    """A spring pressed on the scale: rows of load and shortening."""

    axle: End
    rows: Annotated[tuple[Row, ...], Field(min_length=2, max_length=100)]


class FullLock(Spec):
    """Wheel angles at full lock."""

    inner: Series
    outer: Series | None = None


class TurningCircle(Spec):
    """Diameters of the circle at full lock, to one direction."""

    to: Literal["left", "right"]
    diameters: Series
    mark: Literal["outer front tyre", "rear middle"] = "outer front tyre"
    """What the circle was measured to: the middle of the outer front tyre, or the middle of the rear axle."""


class ServoPull(Spec):
    """Pull of the servo on a lever."""

    arm: Reading
    pulls: Series
    voltage: Reading


class WheelSpeed(Spec):
    """Turns of a free wheel against time, full throttle."""

    axle: End
    turns: NonNegative
    time: Reading
    voltage: Reading


class GearCount(Spec):
    """Turns counted by hand, all on the same run."""

    motor: NonNegative
    front: NonNegative | None = None
    rear: NonNegative | None = None


class Readings(Spec):
    """A whole readings file."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    truck: Name
    note: str = ""
    date: str = ""
    invented: bool = False
    simulated: bool = False
    """Readings that no scale ever showed."""
    units: dict[str, str] = Field(default_factory=dict)
    """Unit of bare numbers by kind: ``mass = "g"``."""
    scale: Scale | None = None
    rulers: Rulers = Rulers()
    whole: Series | None = None
    wheels: Wheels | None = None
    axles: AxleLoads | None = None
    wheelbase: Reading | None = None
    track_front: Reading | None = None
    track_rear: Reading | None = None
    axle_height_front: Reading | None = None
    """Bench to the middle of the axle, truck standing: the loaded radius."""
    axle_height_rear: Reading | None = None
    suspension: Literal["locked", "free"] = "free"
    """During the lifts: locked with solid links in place of the shocks, or not."""
    lift: tuple[Lift, ...] = ()
    part: tuple[PartMass, ...] = ()
    squish: tuple[Squish, ...] = ()
    foam_gap: tuple[FoamGap, ...] = ()
    block_pull: tuple[BlockPull, ...] = ()
    slip_board: tuple[SlipBoard, ...] = ()
    tilt: tuple[Tilt, ...] = ()
    tipped_left: Reading | None = None
    """Angle at which the truck tipped over its left side, read once; [[tilt]] holds more readings."""
    tipped_right: Reading | None = None
    tipped_back: Reading | None = None
    """Nose up."""
    tipped_front: Reading | None = None
    sag: tuple[Sag, ...] = ()
    spring: tuple[Spring, ...] = ()
    steering: FullLock | None = None
    turning_circle: tuple[TurningCircle, ...] = ()
    servo: ServoPull | None = None
    wheel_speed: tuple[WheelSpeed, ...] = ()
    gear_count: GearCount | None = None

    def read(self, kind: Kind, value: object, field: str) -> float:
        """Read one of these readings to SI; errors as of :func:`models.bench.quantity.read`."""
        self.check_units()
        return read(kind, value, field, self.units)

    def read_all(self, kind: Kind, values: Iterable[object], field: str) -> list[float]:
        """Read several; each is named by its place, counted from 1."""
        return [self.read(kind, value, f"{field}.{n}") for n, value in enumerate(values, start=1)]

    def check_units(self) -> None:
        """Check the declared units.

        :raises BuildSheetError: a kind or unit that does not exist.
        """
        kinds: tuple[Kind, ...] = Kind.__args__  # type: ignore[attr-defined]
        for kind, unit in self.units.items():
            if kind not in kinds:
                raise BuildSheetError("there is no such kind of reading.", remedy=f"Kinds: {', '.join(kinds)}.",
                                      field=f"units.{kind}")
            known_unit(next(k for k in kinds if k == kind), unit, f"units.{kind}", unit)


def load_readings(path: str | Path) -> Readings:
    """Read and validate a readings file (TOML).

    :raises BuildSheetError: the file cannot be read, or a key or value is wrong.
    """
    file = Path(path)
    readings = read_record(Readings, file)
    try:
        readings.check_units()
    except BuildSheetError as fault:
        raise fault.at(file) from None
    return readings
