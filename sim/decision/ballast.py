"""Weight at the front axle that would do what a move does, and what such weight costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from models.change import Change
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import truck_properties
from models.spec import Money, Sheet

AT_AXLE = 0.15
"""Share of the wheelbase by which a weight may lie off the front axle and still count as being there."""


@dataclass(frozen=True)
class Ballast:
    """Grams on the front axle at wheel-centre height."""

    for_bias_g: float
    """To put as much of the weight on the front wheels; infinite if no weight does it, 0 if none is needed."""
    for_climb_g: float
    """To tip back at the same angle."""


@dataclass(frozen=True)
class WeightOffer:
    """A change that brings weight to the front axle."""

    name: str
    grams: float
    cost: Money

    @property
    def per_gram(self) -> float:
        """Price of one gram."""
        return self.cost.price / self.grams


def grams_for_bias(mass: float, share: float, wanted: float) -> float:
    """Mass on the front axle that raises the front share of the weight, in the unit of ``mass``.

    From (share M + m) / (M + m) = wanted: m = M (wanted - share) / (1 - wanted).
    """
    if wanted <= share:
        return 0.0
    return mass * (wanted - share) / (1.0 - wanted) if wanted < 1.0 else math.inf


def grams_for_tip(mass: float, from_rear: float, height: float, wheelbase: float, radius: float, angle: float) -> float:
    """Mass on the front axle, at wheel-centre height ``radius``, with which a rigid truck tips back at ``angle``.

    From (M a + m l) / (M h + m r) = tan(angle): m = M (h tan - a) / (l - r tan). Lengths alike, angle in rad.
    """
    tangent = math.tan(angle)
    missing = height * tangent - from_rear
    if missing <= 0.0:
        return 0.0
    gain = wheelbase - radius * tangent
    return mass * missing / gain if gain > 0.0 else math.inf


def ballast(before: Sheet, after: Sheet) -> Ballast:
    """What would have to be added to the sheet before to match the one after."""
    old, new = truck_properties(before), truck_properties(after)
    rear, wheelbase = before.axles.rear.x_mm / 1000.0, before.wheelbase_mm / 1000.0
    a, b = float(old.cg[0]) - rear, float(new.cg[0]) - rear
    radius = before.tyres.front.outside_diameter_mm / 2000.0
    grams = 1000.0 * old.mass
    return Ballast(
        grams_for_bias(grams, a / wheelbase, b / wheelbase),
        grams_for_tip(grams, a, float(old.cg[2]), wheelbase, radius, math.atan2(b, float(new.cg[2]))),
    )


def offers(sheet: Sheet, changes: Sequence[Change]) -> tuple[WeightOffer, ...]:
    """The changes whose added weight lies at the front axle, the cheapest per gram first.

    A change that does not fit this truck, has no price or takes weight off is passed over.
    """
    before, found = truck_properties(sheet), []
    for change in changes:
        try:
            after = truck_properties(apply(sheet, [change]))
        except BuildSheetError:
            continue
        grams = after.mass - before.mass
        if change.cost is None or change.set or change.move or grams <= 0.0 or change.cost.price <= 0.0:
            continue
        where = float((after.mass * after.cg[0] - before.mass * before.cg[0]) / grams)
        if abs(1000.0 * where - sheet.axles.front.x_mm) <= AT_AXLE * sheet.wheelbase_mm:
            found.append(WeightOffer(change.name, 1000.0 * grams, change.cost))
    return tuple(sorted(found, key=lambda offer: offer.per_gram))
