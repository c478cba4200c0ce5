"""Each axle standing on its tyres: load, squish, contact patch and grip at ride height; SI."""

from __future__ import annotations

import math
from dataclasses import dataclass

from models.errors import BuildSheetError
from models.massprops import GRAVITY, WheelLoads
from models.required import required
from models.spec import Axle, Sheet, Tyre
from models.stability import grip_under
from models.tyre import TyreLaw, TyreShape, fit_tyre, static_squish, touching_elements

ON_THE_RIM = 0.9
"""Share of the room between tread and rim beyond which a tyre cannot stand."""


@dataclass(frozen=True)
class Stance:
    """One axle standing level; both its tyres carry the mean of their loads."""

    axle: Axle
    tyre: Tyre
    shape: TyreShape
    law: TyreLaw
    load: float
    """N on each of its wheels."""
    squish: float
    """m."""

    @property
    def height(self) -> float:
        """Static loaded radius: wheel centre over the ground, m."""
        return self.shape.radius - self.squish

    @property
    def patch_area(self) -> float:
        """Ground that touching tread elements stand for, m^2."""
        shape = self.shape
        around = 2.0 * math.pi * shape.radius / shape.n_round
        return max(touching_elements(shape, self.squish), 1.0) * around * shape.width / len(shape.row_y)

    @property
    def grip(self) -> float:
        """Friction coefficient at the static ground pressure."""
        return grip_under(required(self.tyre.grip, "tyres.grip"), self.load / self.patch_area,
                          1000.0 * required(self.tyre.grip_at_kpa, "tyres.grip_at_kpa"),
                          required(self.tyre.grip_pressure_exponent, "tyres.grip_pressure_exponent"))


def stances(sheet: Sheet, loads: WheelLoads) -> tuple[Stance, Stance]:
    """Stand a resolved sheet's front and rear axle on their tyres.

    :raises BuildSheetError: see :func:`models.tyre.fit_tyre`; or a tyre that its load presses onto the rim.
    """
    front = _stance("front", sheet.axles.front, sheet.tyres.front, float(loads.load[:2].mean()))
    rear = _stance("rear", sheet.axles.rear, sheet.tyres.rear, float(loads.load[2:].mean()))
    return front, rear


def _stance(end: str, axle: Axle, tyre: Tyre, load: float) -> Stance:
    shape, law = fit_tyre(tyre)
    squish = static_squish(shape, law, load)
    if squish > ON_THE_RIM * shape.room:
        raise BuildSheetError(
            f"at rest, {1000.0 * load / GRAVITY:.0f} g on each wheel squash the {end} tyre onto its rim.",
            remedy="Check squish or stiffness_n_per_mm, and masses: a tyre gives some 5 % of its diameter at rest.",
            field=f"tyres.{end}",
        )
    return Stance(axle, tyre, shape, law, load, squish)
