"""Friction coefficient of a tyre, by compound, surface and contact pressure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_PRESSURE, T_EXPONENT, T_GRIP, T_PRESSURE
from sim.physics.compiled import kernel

Array = NDArray[np.float64]
PRESSURE_TIME = 0.02
"""s; contact pressure is averaged over this before it sets the grip, so that single spokes do not make grip jump."""
PRESSURE_SPAN = 1.5
"""Grip by pressure stays within this factor of the reference, the range in which the power law was ever observed."""


@kernel
def wheel_grip(tyre: Array, memory: Array, wheel: int, scale: float) -> float:
    """Friction coefficient of one wheel at its present contact pressure."""
    mu = tyre[wheel, T_GRIP] * scale
    exponent = tyre[wheel, T_EXPONENT]
    pressure = memory[M_PRESSURE + wheel]
    if exponent > 0.0 and pressure > 0.0:
        factor = (pressure / tyre[wheel, T_PRESSURE]) ** (-exponent)
        mu *= min(max(factor, 1.0 / PRESSURE_SPAN), PRESSURE_SPAN)
    return mu


@kernel
def update_pressure(memory: Array, wheel: int, pressure: float, dt: float) -> None:
    """Average the contact pressure (Pa) of one wheel; the first touch counts at once."""
    old = memory[M_PRESSURE + wheel]
    weight = 1.0 if old == 0.0 else min(dt / PRESSURE_TIME, 1.0)
    memory[M_PRESSURE + wheel] = old + (pressure - old) * weight
