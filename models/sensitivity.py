"""What a sheet's assumed values do to its angles: each by its doubt, ranked, with how to measure it.

Every assumed value has a standard deviation: of a typical truck's part or figure that of its range in
``typical.toml``, of what a builder wrote without weighing that of :mod:`models.bench.unknowns`. Angles follow the
values to first order. Where the sheet says what the whole truck weighed, that much is known of the sum of the parts:
their joint distribution is conditioned on it (normal errors), and a part that only shares out weighed grams counts
little.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models import glossary
from models.bench.unknowns import MASS_DOUBT, PLACE_DOUBT, SIZE_DOUBT
from models.clearance import Wheel, clearance
from models.defaults import resolve
from models.massprops import contact_places, truck_balance, truck_properties, wheel_loads
from models.part_mass import mass_key, single_grams
from models.spec import PAIRED, Axle, Part, Sheet
from models.stability import climb_by_grip, side_by_grip, tip_angles
from models.stance import stances
from models.typical import between, tables, typical
from models.vector import Vector

ANGLES: tuple[str, ...] = (
    glossary.SIDEWAYS, glossary.BACK, glossary.OVER, glossary.SLIDES_BACK, glossary.SLIDES_SIDEWAYS,
    glossary.APPROACH, glossary.BREAKOVER, glossary.DEPARTURE,
)  # fmt: skip
ALSO: tuple[str, ...] = (glossary.FRONT_BIAS, glossary.CG_HEIGHT)
"""Percent and millimetres; reported with their doubt, not ranked by."""
SCALE_SHARE = 0.002
"""Standard uncertainty of the whole truck's weight and of the front axle's share of it (common practice, no source)."""
Kind = Literal["mass", "x", "y", "z", "grip", "stiffness", "hull", "links"]


@dataclass(frozen=True)
class Assumed:
    """One assumed value."""

    key: str
    words: str
    kind: Kind
    sigma: float
    """g, mm, or of the natural logarithm of grip and stiffness."""
    how: str
    """How to measure it."""

    @property
    def part(self) -> str:
        """Name of the part it belongs to."""
        return self.key.removeprefix("parts.").rpartition(".")[0]


@dataclass(frozen=True)
class Ranked:
    """An assumed value and what it does."""

    assumed: Assumed
    angle: str
    """The angle that it moves most."""
    shift: float
    """Degrees by which that angle moves for the value's doubt (95 %), all else as it is."""
    gain: float
    """Part of the variance of all angles together that measuring it would take away."""


@dataclass(frozen=True)
class Doubts:
    """Everything assumed that moves an angle, the weightiest first, and how far each result may be off."""

    ranked: tuple[Ranked, ...]
    half_widths: dict[str, float]
    """95 %, of :data:`ANGLES` (degrees) and :data:`ALSO`."""


def results(sheet: Sheet) -> Vector:
    """The angles (deg), front bias (%) and CG height (mm) of a resolved sheet."""
    truck = truck_balance(sheet)
    loads = wheel_loads(sheet, truck)
    front, rear = stances(sheet, loads)
    tip = tip_angles(contact_places(sheet), truck.cg).in_degrees()
    wheels = [Wheel(stance.axle.x_mm / 1000.0, stance.height) for stance in (front, rear)]
    under = clearance(sheet, wheels[0], wheels[1])
    grips, x = (front.grip, rear.grip), float(truck.cg[0])
    slide = climb_by_grip(grips, sheet.wheelbase_mm / 1000.0 - x, x, float(truck.cg[2]))
    return np.array([
        0.5 * (tip.left + tip.right), tip.back, tip.front, math.degrees(slide),
        math.degrees(side_by_grip(grips, loads.front_percent / 100.0)),
        *(math.degrees(angle) for angle in (under.approach, under.breakover, under.departure)),
        loads.front_percent, 1000.0 * float(truck.cg[2]),
    ])  # fmt: skip


def doubts(sheet: Sheet) -> Doubts:
    """Rank what a sheet assumes.

    :raises BuildSheetError: a truck that cannot stand.
    """
    sheet = resolve(sheet)
    values = list(assumed_values(sheet))
    if not values:
        return Doubts((), dict.fromkeys((*ANGLES, *ALSO), 0.0))
    truck_properties(sheet)  # refuses what no truck can be
    base = results(sheet)
    # How far the results move for one standard deviation: from a tenth of it, to first order.
    slope = np.array([(results(shifted(sheet, value, 0.1)) - base) * 10.0 for value in values]).T
    covariance = np.eye(len(values))  # all values counted in their standard deviations
    known = _weighed(sheet, values)
    if len(known):
        covariance -= known.T @ np.linalg.solve(known @ known.T + SCALE_SHARE**2 * np.eye(len(known)), known)
    angles = slope[: len(ANGLES)]
    left = np.einsum("ij,jk,ik->i", slope, covariance, slope)
    total = max(float(np.sum(left[: len(ANGLES)])), 1e-12)
    ranked = []
    for k, value in enumerate(values):
        spread = covariance[:, k]
        if spread[k] < 1e-9:
            continue
        taken = (angles @ spread) ** 2 / spread[k]
        most = int(np.argmax(taken))
        ranked.append(Ranked(value, ANGLES[most], 1.96 * math.sqrt(float(taken[most])), float(np.sum(taken)) / total))
    ranked.sort(key=lambda one: -one.gain)
    widths = 1.96 * np.sqrt(np.maximum(left, 0.0))
    return Doubts(tuple(r for r in ranked if r.gain > 1e-6),
                  dict(zip((*ANGLES, *ALSO), (float(w) for w in widths), strict=True)))  # fmt: skip


def assumed_values(sheet: Sheet) -> Iterator[Assumed]:
    """Everything on a resolved sheet that was not measured and moves an angle."""
    for part in sheet.parts:
        yield from _of_part(part, sheet)
    for end in ("front", "rear"):
        for name, kind, words, how in (
            ("grip", "grip", "grip of the tyres", "slip board: `cragbench measure slip_board`"),
            ("stiffness_n_per_mm", "stiffness", "stiffness of the tyres", "press one on the scale: "
             "`cragbench measure squish`"),
        ):
            # Both axles' tyres are of one kind: one value for both.
            keys = [key for key in (f"tyres.front.{name}", f"tyres.{end}.{name}") if key in sheet.assumed]
            if keys and keys[0] == f"tyres.{end}.{name}":
                figure = typical(f"tyre.{name}", sheet.scale)
                sigma = math.log(figure.high / figure.low) / 4.0
                yield Assumed(f"tyres.{end}.{name}", words, kind, sigma, how)  # type: ignore[arg-type]
    if "hull" in sheet.assumed:
        yield Assumed("hull", "height of bumpers, skid and axle housings", "hull",
                      tables()["doubt"]["place"][2] * sheet.wheelbase_mm, "ruler; write them as [[hull]] shapes")
    if "axles.front.links" in sheet.assumed or "axles.rear.links" in sheet.assumed:
        yield Assumed("axles.links", "height of the links at the skid", "links",
                      tables()["doubt"]["place"][2] * sheet.wheelbase_mm, "ruler; write them as [[axles.front.links]]")


def _of_part(part: Part, sheet: Sheet) -> Iterator[Assumed]:
    entry = next((e for e in tables()["part"] if e["name"] == part.name), None)
    # What `start` filled in says "assumed"; a builder who leaves it unsaid has written a number of his own.
    filled = entry is not None and "source" in part.model_fields_set
    grams = single_grams(part)
    if part.source != "measured" and grams > 0.0:
        sigma = MASS_DOUBT[part.source] * grams
        if filled and part.source == "assumed" and entry is not None:
            range_ = between(entry["mass"], sheet.scale)
            sigma = grams * math.log(range_.high / range_.low) / 4.0
        yield Assumed(f"parts.{part.name}.mass", f"mass of the {part.name}", "mass", sigma, "weigh it alone")
    placed = part.place_source or part.source
    if placed == "measured" or part.body in PAIRED:
        return
    typical_doubt = tables()["doubt"]["shell" if part.shape == "shell" else "place"]
    for axis, kind, words, how in (
        (0, "x", "how far forward the {} sits", "ruler, from the rear axle to where it balances"),
        (2, "z", "height of the {}", "ruler, from the bench to its middle; tilt the truck for all heights at once"),
    ):
        own = math.hypot(PLACE_DOUBT[placed] * sheet.wheelbase_mm, SIZE_DOUBT[placed] * part.size_mm[axis])
        sigma = typical_doubt[axis] * sheet.wheelbase_mm if filled and part.body == "chassis" else own
        yield Assumed(f"parts.{part.name}.{kind}", words.format(part.name), kind, sigma, how)  # type: ignore[arg-type]


def shifted(sheet: Sheet, value: Assumed, by: float) -> Sheet:
    """The sheet with one value moved by this many of its standard deviations."""
    if value.kind in ("mass", "x", "y", "z"):
        parts = tuple(_shifted_part(p, value, by) if p.name == value.part else p for p in sheet.parts)
        return sheet.model_copy(update={"parts": parts})
    if value.kind == "hull":
        offset = np.array([0.0, 0.0, by * value.sigma])
        hull = tuple(h.model_copy(update={"at_mm": tuple(np.array(h.at_mm) + offset)}) for h in sheet.hull)
        return sheet.model_copy(update={"hull": hull})
    if value.kind == "links":
        axles = {end: _links_raised(getattr(sheet.axles, end), by * value.sigma) for end in ("front", "rear")
                 if f"axles.{end}.links" in sheet.assumed}
        return sheet.model_copy(update={"axles": sheet.axles.model_copy(update=axles)})
    key = "grip" if value.kind == "grip" else "stiffness_n_per_mm"
    tyres = {}
    for end in ("front", "rear"):
        tyre = getattr(sheet.tyres, end)
        here = f"tyres.{end}.{key}" in sheet.assumed
        tyres[end] = tyre.model_copy(update={key: getattr(tyre, key) * math.exp(by * value.sigma)}) if here else tyre
    return sheet.model_copy(update={"tyres": sheet.tyres.model_copy(update=tyres)})


def _links_raised(axle: Axle, by: float) -> Axle:
    links = tuple(
        link.model_copy(update={"chassis_mm": (*link.chassis_mm[:2], link.chassis_mm[2] + by)}) for link in axle.links
    )
    return axle.model_copy(update={"links": links})


def _shifted_part(part: Part, value: Assumed, by: float) -> Part:
    if value.kind == "mass":
        return part.model_copy(update={mass_key(part.body): max(single_grams(part) + by * value.sigma, 0.0)})
    at = list(part.at_mm)
    at["xyz".index(value.kind)] += by * value.sigma
    return part.model_copy(update={"at_mm": tuple(at)})


def _weighed(sheet: Sheet, values: list[Assumed]) -> Vector:
    """Rows of what the scale knows, for a deviation of each value: mass, and moment about the rear axle, as shares."""
    if sheet.weighed is None or sheet.weighed.mass_g is None:
        return np.zeros((0, len(values)))
    parts = {part.name: part for part in sheet.parts}
    mass, moment = np.zeros(len(values)), np.zeros(len(values))
    for k, value in enumerate(values):
        if value.kind not in ("mass", "x"):
            continue
        part = parts[value.part]
        count = 2.0 if part.body in PAIRED else 1.0
        if value.kind == "mass":
            mass[k], moment[k] = count * value.sigma, count * value.sigma * part.at_mm[0]
        else:
            moment[k] = count * value.sigma * (part.mass_g or 0.0)
    rows = [mass / sheet.weighed.mass_g]
    if sheet.weighed.front_g is not None:
        rows.append(moment / (sheet.weighed.mass_g * sheet.wheelbase_mm))
    return np.array(rows)
