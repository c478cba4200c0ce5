"""Where the axle's joints stand and what its shocks must carry: the sprung side of the rigid model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.errors import BuildSheetError
from models.linkage import AxleMotion, velocity
from models.massprops import GRAVITY, MassProperties
from models.required import required
from models.rigid import ShockLine
from models.spec import Axle
from models.vector import Vector

STOP_STIFFER = 30.0
"""Bump and droop stops over the spring rate (assumed: a hard rubber or plastic stop)."""


@dataclass(frozen=True)
class SprungAxle:
    """One axle on its links and shocks, at ride height."""

    which: str
    """``front`` or ``rear``."""
    axle: Axle
    motion: AxleMotion
    load: float
    """N on both its wheels."""
    unsprung: MassProperties
    """All that moves with the axle: housing, knuckles, wheels."""
    body: int
    """Index of the axle's body."""

    def ends(self, side: float) -> tuple[Vector, Vector]:
        """Chassis and axle end of the left (1) or right (-1) shock, sheet frame, m."""
        flip = np.array([1.0, side, 1.0])
        shock = self.axle.shock
        return flip * np.array(shock.chassis_mm) / 1000.0, flip * np.array(shock.axle_mm) / 1000.0

    def motion_ratio(self) -> float:
        """Shortening of one shock per unit of lift of the axle's middle on the heave joint."""
        top, foot = self.ends(1.0)
        down = (foot - top) / np.linalg.norm(foot - top)
        lift = velocity(self.motion.heave, self.motion.centre)[2]
        return float(-down @ velocity(self.motion.heave, foot) / lift)

    def holding_force(self) -> float:
        """Force (N, compression) of each of the two shocks that keeps the axle at ride height, truck at rest.

        Virtual work on the heave joint: the wheels' vertical ground load and the weight of what moves with the axle
        against both shocks. With no drive there is no force along the ground, so anti-squat has no part in it.

        :raises BuildSheetError: shocks that cannot carry the truck in this position.
        """
        heave = self.motion.heave
        up = velocity(heave, self.motion.centre)[2]
        work = self.load * up - self.unsprung.mass * GRAVITY * velocity(heave, self.unsprung.cg)[2]
        ratio = self.motion_ratio()
        if ratio < 0.05 or work <= 0.0:
            raise BuildSheetError(
                "this shock cannot carry the truck: it hardly shortens when the axle moves up."
                if ratio < 0.05
                else "the axle and its wheels outweigh the load that the wheels carry: the shock would have to pull.",
                remedy="Check the shock's chassis_mm (above) and axle_mm (below), and which body heavy parts ride on.",
                field=f"axles.{self.which}.shock",
            )
        return float(work / (2.0 * ratio * up))

    def shock_lines(self, p_axle_origin: Vector, time_step: float = 1e-3) -> list[ShockLine]:
        """Make the left and right shock; ``p_axle_origin`` (3,) is the axle frame's origin in the sheet frame, m."""
        shock = self.axle.shock
        rate = 1000.0 * shock.rate_n_per_mm
        force = self.holding_force() if shock.preload_n is None else shock.preload_n
        # The stop is integrated explicitly against half the unsprung mass: keep k dt^2 well under it.
        stop = min(STOP_STIFFER * rate, 0.1 * self.unsprung.mass / time_step**2)
        lines = []
        for side in (1.0, -1.0):
            top, foot = self.ends(side)
            lines.append(ShockLine(
                axle_body=self.body,
                p_chassis=top,
                p_axle=foot - p_axle_origin,
                ride_length=float(np.linalg.norm(foot - top)),
                ride_force=force,
                rate=rate,
                damping=required(shock.damping_ns_per_m, f"axles.{self.which}.shock.damping_ns_per_m"),
                bump=shock.bump_mm / 1000.0,
                droop=shock.droop_mm / 1000.0,
                stop_rate=stop,
            ))
        return lines
