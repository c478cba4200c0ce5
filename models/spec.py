"""The build sheet as data: every key of a sheet file, in the units of the bench.

Positions are measured from the sheet datum: on the ground under the rear axle's centre, truck level at ride
height, x forward, y left, z up (ISO 8855 directions). Nothing here converts or computes; SI starts in
:mod:`models.rigid` and its makers.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Mm3 = tuple[float, float, float]
BodyName = Literal["chassis", "front_axle", "rear_axle", "front_knuckles", "front_wheels", "rear_wheels"]
"""Where a part rides. The last three are pairs: one part stands for the left one and its mirror image."""

LOOSE_PART = "unaccounted (wires, screws, glue)"
"""What the scale finds of a truck beyond the parts that were weighed."""
PAIRED: tuple[str, ...] = ("front_knuckles", "front_wheels", "rear_wheels")
Source = Literal["measured", "fitted", "sold", "assumed"]

Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]


class Spec(BaseModel):
    """Base of every sheet record: frozen, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Hole(Spec):
    """A screw hole that holds a part, relative to the part's ``at_mm`` (x forward, y left)."""

    at_mm: tuple[float, float]
    diameter_mm: Annotated[float, Field(gt=0, le=20)]


class Part(Spec):
    """One thing that can be put on the scale.

    ``mass_g`` is for a single part. On a paired body (``front_knuckles``, ``front_wheels``, ``rear_wheels``)
    the key is ``mass_each_g`` and ``at_mm`` is the left one; ``price`` is for the pair.
    """

    name: Annotated[str, Field(min_length=1, max_length=200)]
    body: BodyName = "chassis"
    mass_g: Annotated[float, Field(ge=0, le=20_000)] | None = None
    mass_each_g: Annotated[float, Field(ge=0, le=5_000)] | None = None
    at_mm: Mm3
    size_mm: tuple[NonNegative, NonNegative, NonNegative] = (0.0, 0.0, 0.0)
    shape: Literal["box", "cylinder", "ring", "shell"] = "box"
    """A cylinder and a ring have their axis lateral (y); a shell is a thin-walled box, closed all round."""
    bore_mm: NonNegative = 0.0
    price: NonNegative | None = None
    currency: str | None = None
    source: Source = "assumed"
    """Of its mass, and of its place unless ``place_source`` says otherwise."""
    place_source: Source | None = None
    holes: tuple[Hole, ...] = ()
    lead_mm: Positive | None = None
    note: str = ""


class Link(Spec):
    """A rod with a ball at each end, at ride height; y is signed, left and right rods are separate."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    chassis_mm: Mm3
    axle_mm: Mm3
    mass_g: NonNegative = 0.0


class Shock(Spec):
    """One shock of a mirrored pair; the left one is given, lengths and travel along its own line.

    ``preload_n`` is the spring force at ride height; left out, it is the force that holds the truck there.
    """

    chassis_mm: Mm3
    axle_mm: Mm3
    rate_n_per_mm: Positive
    preload_n: NonNegative | None = None
    damping_ns_per_m: NonNegative | None = None
    bump_mm: Positive
    droop_mm: NonNegative
    mass_g: NonNegative = 0.0


class Tyre(Spec):
    """Tyre and foam of one axle (both sides alike)."""

    outside_diameter_mm: Positive
    width_mm: Positive
    rim_diameter_mm: Positive | None = None
    crown_mm: NonNegative = 0.0
    squish: tuple[tuple[Positive, Positive], ...] | None = None
    """Rows of (load in g, deflection in mm) on a flat plate."""
    stiffness_n_per_mm: Positive | None = None
    foam_gap_mm: NonNegative | None = None
    foam_stiffness_n_per_mm: NonNegative | None = None
    loss_factor: Annotated[float, Field(ge=0, le=2)] | None = None
    grip: Annotated[float, Field(gt=0, le=3)] | None = None
    grip_at_kpa: Positive | None = None
    grip_pressure_exponent: Annotated[float, Field(ge=0, le=0.5)] | None = None
    source: Source = "assumed"


class Axle(Spec):
    """One axle: where it stands, how it is held, sprung and steered. All at ride height."""

    x_mm: float
    track_mm: Positive
    """Between the tyre centres."""
    portal_drop_mm: NonNegative = 0.0
    steer_deg: Annotated[float, Field(ge=0, le=75)] = 0.0
    """Steering limit of the inner wheel; zero on an axle that does not steer."""
    ackermann: Annotated[float, Field(ge=-0.5, le=1.5)] = 0.0
    """Share of full Ackermann geometry, 0 is parallel steering."""
    kingpin_y_mm: Positive | None = None
    kingpin_inclination_deg: Annotated[float, Field(ge=-20, le=30)] = 0.0
    caster_deg: Annotated[float, Field(ge=-20, le=40)] = 0.0
    links: tuple[Link, Link, Link, Link]
    shock: Shock
    clearance_mm: Positive | None = None
    """Ground to the lowest point of the housing; for the statics when no hull shape rides on the axle."""


class Axles(Spec):
    """Front and rear."""

    front: Axle
    rear: Axle


class Tyres(Spec):
    """Front and rear."""

    front: Tyre
    rear: Tyre


class Motor(Spec):
    """Brushed or brushless motor by its two-parameter model."""

    kv_rpm_per_v: Annotated[float, Field(gt=0, le=20_000)]
    resistance_ohm: Annotated[float, Field(gt=0, le=50)]
    current_limit_a: Positive
    no_load_current_a: NonNegative = 0.0
    rotor_inertia_gcm2: Positive | None = None


class Battery(Spec):
    """Pack under load."""

    voltage_v: Annotated[float, Field(gt=0, le=30)]
    resistance_ohm: NonNegative | None = None


class Driveline(Spec):
    """From motor to wheels, both axles locked unless said otherwise."""

    reduction: Annotated[float, Field(gt=1, le=500)]
    """Motor turns per turn of the rear wheels."""
    front_teeth: tuple[tuple[int, int], ...] = ()
    """(driving, driven) tooth counts of every pair between the common shaft and the front wheels."""
    rear_teeth: tuple[tuple[int, int], ...] = ()
    overdrive_percent: Annotated[float, Field(ge=-60, le=100)] | None = None
    """Front wheels faster than rear by this much; instead of tooth counts."""
    shaft_reduction: Annotated[float, Field(gt=0, le=50)] | None = None
    """Reduction behind the drive shafts (axle and portal gears): sets the torque reaction on the chassis."""
    efficiency: Annotated[float, Field(gt=0, le=1)] | None = None
    shaft_stiffness_nm_per_rad: Positive | None = None
    drag_brake: Annotated[float, Field(ge=0, le=1)] | None = None
    """Share of the motor's short-circuit braking at neutral throttle."""
    locked_front: bool = True
    locked_rear: bool = True
    shafts_turn: Literal["clockwise", "anticlockwise"] | None = None
    """How the drive shafts turn, seen from behind, when the truck drives forward: the side to which it twists."""


class Servo(Spec):
    """Steering servo as sold or measured."""

    stall_kgcm: Annotated[float, Field(gt=0, le=150)]
    at_v: Positive
    supply_v: Positive | None = None
    speed_s_per_60deg: Annotated[float, Field(gt=0, le=2)]
    arm_ratio: Positive = 1.0
    """Knuckle-arm length over horn length: multiplies torque, divides angle."""


class HullShape(Spec):
    """A hard shape that can touch the ground: skid, axle housing, bumper, body shell."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    body: Literal["chassis", "front_axle", "rear_axle"] = "chassis"
    shape: Literal["box", "cylinder", "mesh"] = "box"
    at_mm: Mm3
    size_mm: tuple[NonNegative, NonNegative, NonNegative] = (0.0, 0.0, 0.0)
    """Full extents; a cylinder's axis is lateral (y). For a mesh all zero keeps the file's own millimetres."""
    file: str | None = None
    grip: Annotated[float, Field(gt=0, le=2)] | None = None


class Money(Spec):
    """What something costs."""

    price: NonNegative
    currency: Annotated[str, Field(min_length=1, max_length=8)]


class Weighed(Spec):
    """What the scale showed of the whole truck, as the sheet describes it; a record, nothing is computed from it."""

    mass_g: Positive | None = None
    front_g: Positive | None = None
    rear_g: Positive | None = None
    left_g: Positive | None = None


class Sheet(Spec):
    """The whole build sheet, as validated; defaults that were filled in are listed by their key in ``assumed``."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    scale: Annotated[float, Field(ge=4, le=40)]
    """24 for 1/24."""
    invented: bool = False
    note: str = ""
    wheelbase_mm: Positive
    truck_price: Money | None = None
    grip: Annotated[float, Field(gt=0, le=3)] | None = None
    """Of both tyres, where ``tyres.front.grip`` or ``tyres.rear.grip`` is not given."""
    photo: str | None = None
    weighed: Weighed | None = None
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    axles: Axles
    tyres: Tyres
    motor: Motor
    battery: Battery
    driveline: Driveline
    servo: Servo
    hull: tuple[HullShape, ...] = ()
    assumed: tuple[str, ...] = ()
