"""Mass, centre of gravity and inertia: of each part, of each body and of the whole truck, and the wheel loads.

SI, sheet frame: origin on the ground under the rear axle's centre, x forward, y left, z up, truck at ride height.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.errors import BuildSheetError
from models.spec import PAIRED, Axle, Part, Sheet

Vector = NDArray[np.float64]

GRAVITY = 9.80665
"""m/s^2, standard gravity (CGPM 1901)."""

BODIES: tuple[str, ...] = (
    "chassis",
    "front_axle",
    "front_left_knuckle",
    "front_left_wheel",
    "front_right_knuckle",
    "front_right_wheel",
    "rear_axle",
    "rear_left_wheel",
    "rear_right_wheel",
)
"""The bodies that have mass, in the order of the rigid model's tree."""

_PAIRS = {
    "front_knuckles": ("front_left_knuckle", "front_right_knuckle"),
    "front_wheels": ("front_left_wheel", "front_right_wheel"),
    "rear_wheels": ("rear_left_wheel", "rear_right_wheel"),
}


@dataclass(frozen=True)
class MassProperties:
    """Mass, centre of mass and inertia of something rigid."""

    mass: float
    """kg."""
    cg: Vector
    """(3,) centre of mass in the sheet frame, m."""
    inertia: Vector
    """(3, 3) rotational inertia about the centre of mass, sheet axes, kg m^2."""

    @property
    def weight(self) -> float:
        """N."""
        return self.mass * GRAVITY

    def mirrored(self) -> MassProperties:
        """Return the same thing on the other side of the truck (y reversed)."""
        flip = np.array([1.0, -1.0, 1.0])
        return MassProperties(self.mass, self.cg * flip, self.inertia * np.outer(flip, flip))


NOTHING = MassProperties(0.0, np.zeros(3), np.zeros((3, 3)))


def combined(pieces: Iterable[MassProperties]) -> MassProperties:
    """Sum rigidly joined pieces about their common centre of mass (parallel-axis theorem)."""
    some = [piece for piece in pieces if piece.mass > 0.0]
    if not some:
        return NOTHING
    masses = np.array([piece.mass for piece in some])
    places = np.array([piece.cg for piece in some])
    mass = float(masses.sum())
    cg = masses @ places / mass
    inertia = np.zeros((3, 3))
    for piece in some:
        inertia += piece.inertia + _shift(piece.mass, piece.cg - cg)
    return MassProperties(mass, cg, inertia)


def point_mass(mass: float, place: Sequence[float] | Vector) -> MassProperties:
    """Return a mass (kg) without size at a place (m)."""
    return MassProperties(mass, np.asarray(place, dtype=np.float64), np.zeros((3, 3)))


def _shift(mass: float, offset: Vector) -> Vector:
    """Inertia (3, 3) of a point mass at this offset."""
    return np.asarray(mass * (float(offset @ offset) * np.eye(3) - np.outer(offset, offset)))


def shape_inertia(shape: str, mass: float, size: Sequence[float], bore: float = 0.0) -> Vector:
    """Inertia (3, 3) of a uniform solid about its own centre, axes parallel to its edges; kg, m.

    ``box``: m (b^2 + c^2) / 12 about each axis. ``cylinder`` and ``ring`` lie along y; their diameter is the mean of
    the x and z sizes and ``bore`` the hole's: m (D^2 + d^2) / 8 along the axis, half that + m w^2 / 12 across it.
    ``shell``: a closed box of thin walls, six plates of equal weight per area. (Textbook solids, from memory; the
    tests compare them with an independent mesh integration.)
    """
    a, b, c = (float(s) for s in size)
    if shape == "shell":
        return _shell_inertia(mass, np.array([a, b, c]))
    if shape in ("cylinder", "ring"):
        round_sum = ((a + c) / 2.0) ** 2 + bore**2
        across = mass * round_sum / 16.0 + mass * b * b / 12.0
        return np.diag([across, mass * round_sum / 8.0, across])
    return np.diag([b * b + c * c, a * a + c * c, a * a + b * b]) * (mass / 12.0)


def _shell_inertia(mass: float, size: Vector) -> Vector:
    areas = np.array([size[1] * size[2], size[0] * size[2], size[0] * size[1]])
    if areas.sum() == 0.0:
        return shape_inertia("box", mass, size.tolist())
    inertia = np.zeros((3, 3))
    for normal, share in enumerate(areas / areas.sum()):
        flat, offset = size.copy(), np.zeros(3)
        flat[normal], offset[normal] = 0.0, size[normal] / 2.0
        inertia += shape_inertia("box", mass * share, flat.tolist()) + _shift(mass * share, offset)
    return inertia


def part_properties(part: Part) -> MassProperties:
    """Mass properties of one part where the sheet puts it; of a pair, the left one."""
    grams = part.mass_each_g if part.body in PAIRED else part.mass_g
    mass = (grams or 0.0) / 1000.0
    size = [s / 1000.0 for s in part.size_mm]
    place = np.array(part.at_mm) / 1000.0
    return MassProperties(mass, place, shape_inertia(part.shape, mass, size, part.bore_mm / 1000.0))


def body_properties(sheet: Sheet) -> dict[str, MassProperties]:
    """Mass properties of every body, by the names of :data:`BODIES`.

    A part of a pair counts on the left and mirrored on the right. Links and shocks (both of the mirrored pair) count
    as two point masses, half at each end: on the chassis and on the axle.

    :raises BuildSheetError: a body without mass, or whose inertia no rigid body can have.
    """
    pieces: dict[str, list[MassProperties]] = {body: [] for body in BODIES}
    for part in sheet.parts:
        piece = part_properties(part)
        if part.body in PAIRED:
            left, right = _PAIRS[part.body]
            pieces[left].append(piece)
            pieces[right].append(piece.mirrored())
        else:
            pieces[part.body].append(piece)
    for axle, body in ((sheet.axles.front, "front_axle"), (sheet.axles.rear, "rear_axle")):
        for on_chassis, on_axle in _rod_ends(axle):
            pieces["chassis"].append(on_chassis)
            pieces[body].append(on_axle)
    bodies = {body: combined(some) for body, some in pieces.items()}
    for body, whole in bodies.items():
        _check_body(body, whole, sheet)
    return bodies


def _rod_ends(axle: Axle) -> list[tuple[MassProperties, MassProperties]]:
    ends = []
    for link in axle.links:
        half = link.mass_g / 2000.0
        ends.append((point_mass(half, np.array(link.chassis_mm) / 1e3), point_mass(half, np.array(link.axle_mm) / 1e3)))
    half = axle.shock.mass_g / 2000.0
    top = point_mass(half, np.array(axle.shock.chassis_mm) / 1e3)
    foot = point_mass(half, np.array(axle.shock.axle_mm) / 1e3)
    return [*ends, (top, foot), (top.mirrored(), foot.mirrored())]


def truck_balance(sheet: Sheet) -> MassProperties:
    """Mass and centre of mass of the whole truck alone, its inertia left at nothing: what statics ask for, at once.

    Pairs count twice, on the middle plane.
    """
    grams, places = [], []
    for part in sheet.parts:
        x, y, z = part.at_mm
        paired = part.body in PAIRED
        grams.append(2.0 * (part.mass_each_g or 0.0) if paired else part.mass_g or 0.0)
        places.append((x, 0.0 if paired else y, z))
    rods = [end for axle in (sheet.axles.front, sheet.axles.rear) for rod in _rod_ends(axle) for end in rod]
    masses = np.array([*(0.001 * g for g in grams), *(end.mass for end in rods)])
    where = np.vstack([0.001 * np.array(places).reshape(-1, 3), *(end.cg for end in rods)])
    mass = float(masses.sum())
    return MassProperties(mass, masses @ where / mass, np.zeros((3, 3)))


def truck_properties(sheet: Sheet) -> MassProperties:
    """Mass properties of the whole truck, standing at ride height.

    :raises BuildSheetError: see :func:`body_properties`.
    """
    return combined(body_properties(sheet).values())


def _check_body(body: str, whole: MassProperties, sheet: Sheet) -> None:
    on_sheet = next((pair for pair, sides in _PAIRS.items() if body in sides), body)
    if whole.mass <= 0.0:
        raise BuildSheetError(
            f"no part with mass rides on {on_sheet}.",
            remedy=f'Add a [[parts]] entry with body = "{on_sheet}": every body of the truck has weight.',
            field="parts",
        )
    moments = np.linalg.eigvalsh(whole.inertia)
    # Real solids sum to a possible inertia; what fails here are parts without size. A point 1e-6 of the truck's
    # length across is as good as none.
    smallest = whole.mass * (1e-6 * sheet.wheelbase_mm / 1000.0) ** 2
    if moments[0] <= smallest or moments[0] + moments[1] < moments[2] * (1.0 - 1e-9):
        raise BuildSheetError(
            f"impossible inertia: the parts on {on_sheet} have no size, so nothing resists turning that body.",
            remedy=f'Give at least one part with body = "{on_sheet}" its size_mm = [length, width, height].',
            field="parts",
        )


@dataclass(frozen=True)
class WheelLoads:
    """What four scales under the wheels would show, truck level on them."""

    load: Vector
    """(4,) front left, front right, rear left, rear right, N."""

    @property
    def grams(self) -> tuple[float, float, float, float]:
        """The four readings of the scales, g."""
        front_left, front_right, rear_left, rear_right = (1000.0 * float(force) / GRAVITY for force in self.load)
        return front_left, front_right, rear_left, rear_right

    @property
    def front_percent(self) -> float:
        """Share on the front axle."""
        return float(100.0 * self.load[:2].sum() / self.load.sum())

    @property
    def left_percent(self) -> float:
        """Share on the left wheels."""
        return float(100.0 * (self.load[0] + self.load[2]) / self.load.sum())

    @property
    def cross_percent(self) -> float:
        """Share on the front right and rear left wheels (cross weight; the trade also uses the other diagonal)."""
        return float(100.0 * (self.load[1] + self.load[2]) / self.load.sum())


def contact_places(sheet: Sheet) -> Vector:
    """Ground points under the four tyre centres, (4, 2) x and y, m; front left, front right, rear left, rear right."""
    front, rear = sheet.axles.front, sheet.axles.rear
    return np.array([[a.x_mm, side * a.track_mm / 2.0] for a in (front, rear) for side in (1.0, -1.0)]) / 1000.0


def wheel_loads(sheet: Sheet, truck: MassProperties | None = None) -> WheelLoads:
    """Wheel loads of the truck standing level.

    Four loads and three equations of balance: the fourth needs a rule (Jazar, Vehicle Dynamics, Springer 2008, ch. 2,
    shows that a four-wheel car is indeterminate without the tyres' stiffness). The rule here is four alike springs
    under a rigid truck: loads vary linearly over the ground plan, which is also the set of smallest sum of squares.
    It puts the cross weight of a truck with equal tracks at 50 %: a real truck's twist shows only on four scales.

    :raises BuildSheetError: see :func:`body_properties`; or a centre of gravity outside the wheels.
    """
    truck = truck_properties(sheet) if truck is None else truck
    places = contact_places(sheet)
    balance = np.vstack([np.ones(4), places.T])
    target = truck.weight * np.array([1.0, truck.cg[0], truck.cg[1]])
    load = balance.T @ np.linalg.solve(balance @ balance.T, target)
    if load.min() <= 0.0:
        x, y = np.round(truck.cg[:2] * 1000.0) + 0.0
        raise BuildSheetError(
            f"the truck cannot stand: its centre of gravity is at x = {x:.0f}, y = {y:.0f} mm, outside its wheels.",
            remedy="Places count from under the rear axle's centre, x forward, y left; check at_mm of the heavy parts.",
            field="parts",
        )
    return WheelLoads(load)
