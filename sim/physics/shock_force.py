"""Springs, dampers and stops between chassis and axles."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import (
    K_AXLE,
    K_BODY,
    K_BUMP,
    K_CHASSIS,
    K_DAMP,
    K_DROOP,
    K_FORCE,
    K_LENGTH,
    K_RATE,
    K_STOP,
)
from sim.physics.compiled import kernel
from sim.physics.vector import add_wrench

Array = NDArray[np.float64]


@kernel
def shock_force(row: Array, length: float, stretch_speed: float) -> float:
    """Push (positive) or pull of one shock along its line, N.

    The spring pushes only; the stops act both ways at the ends of the travel; the damper both ways in between.
    """
    shortening = row[K_LENGTH] - length
    force = max(row[K_FORCE] + row[K_RATE] * shortening, 0.0) - row[K_DAMP] * stretch_speed
    if shortening > row[K_BUMP]:
        force += row[K_STOP] * (shortening - row[K_BUMP])
    elif shortening < -row[K_DROOP]:
        force += row[K_STOP] * (shortening + row[K_DROOP])
    return force


@kernel
def shock_forces(shock: Array, rotation: Array, origin: Array, spin: Array, velocity: Array, wrench: Array) -> None:
    """Add every shock's equal and opposite forces to the chassis and its axle."""
    for k in range(shock.shape[0]):
        a = int(shock[k, K_BODY])
        r = rotation[0]
        x = shock[k, K_CHASSIS]
        y = shock[k, K_CHASSIS + 1]
        z = shock[k, K_CHASSIS + 2]
        rx = r[0, 0] * x + r[0, 1] * y + r[0, 2] * z
        ry = r[1, 0] * x + r[1, 1] * y + r[1, 2] * z
        rz = r[2, 0] * x + r[2, 1] * y + r[2, 2] * z
        ux = velocity[0, 0] + spin[0, 1] * rz - spin[0, 2] * ry
        uy = velocity[0, 1] + spin[0, 2] * rx - spin[0, 0] * rz
        uz = velocity[0, 2] + spin[0, 0] * ry - spin[0, 1] * rx
        cx = origin[0, 0] + rx
        cy = origin[0, 1] + ry
        cz = origin[0, 2] + rz
        r = rotation[a]
        x = shock[k, K_AXLE]
        y = shock[k, K_AXLE + 1]
        z = shock[k, K_AXLE + 2]
        rx = r[0, 0] * x + r[0, 1] * y + r[0, 2] * z
        ry = r[1, 0] * x + r[1, 1] * y + r[1, 2] * z
        rz = r[2, 0] * x + r[2, 1] * y + r[2, 2] * z
        ux -= velocity[a, 0] + spin[a, 1] * rz - spin[a, 2] * ry
        uy -= velocity[a, 1] + spin[a, 2] * rx - spin[a, 0] * rz
        uz -= velocity[a, 2] + spin[a, 0] * ry - spin[a, 1] * rx
        ax = origin[a, 0] + rx
        ay = origin[a, 1] + ry
        az = origin[a, 2] + rz
        dx = cx - ax
        dy = cy - ay
        dz = cz - az
        length = math.sqrt(dx * dx + dy * dy + dz * dz)
        dx /= length
        dy /= length
        dz /= length
        force = shock_force(shock[k], length, ux * dx + uy * dy + uz * dz)
        add_wrench(wrench, 0, origin, cx, cy, cz, force * dx, force * dy, force * dz)
        add_wrench(wrench, a, origin, ax, ay, az, -force * dx, -force * dy, -force * dz)
