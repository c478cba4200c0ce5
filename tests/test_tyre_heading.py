"""A tyre on ground that leans to its axle: its grip does not hang on how the ground's grid lies under it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from sim.physics.arrays import M_SIZE, U_DT, U_GRIP, U_SIZE, W_FX, W_FZ, W_SIZE, Motion, model_arrays
from sim.physics.ground_sampling import ground_arrays
from sim.physics.tyre_force import tyre_forces
from sim.physics.tyre_patch import tread_arrays
from sim.validation.truck import truck
from terrain.heightfield import Heightfield

STEPS, DT, SPEED, SLIP = 330, 1e-3, 0.1, 0.07


def side_slope(degrees: float, heading: float) -> Heightfield:
    """A plane that rises to the left of somebody who goes along ``heading`` (rad)."""
    x = np.arange(-0.1, 0.1005, 0.001)
    side = -x[:, None] * math.sin(heading) + x[None, :] * math.cos(heading)
    return Heightfield.of(math.tan(math.radians(degrees)) * side, (-0.1, -0.1), 0.001)


def rolled(degrees: float, heading: float) -> NDArray[np.float64]:
    """Mean force (3,), N, ahead, left and up, on an upright wheel that rolls along a side slope with some slip."""
    model = truck("gundi")
    tyre = replace(model.tyres[0], grip=1.0, grip_exponent=0.0)
    a = model_arrays(replace(model, tyres=(tyre,) * 4), np.zeros(3), np.eye(3))
    ground, count = ground_arrays(side_slope(degrees, heading)), len(model.bodies)
    radius, c, s = float(tyre.row_radius.max()), math.cos(heading), math.sin(heading)
    lane = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    controls = np.zeros(U_SIZE)
    controls[U_DT], controls[U_GRIP] = DT, 1.0
    origin, spin, velocity = (np.zeros((count, 6)) for _ in range(3))
    pace = SPEED * (1.0 + SLIP) / radius
    spin[:, :3], velocity[:, :3] = pace * lane[:, 1], SPEED * lane[:, 0]
    height = radius + 0.0098 * math.tan(math.radians(degrees)) - 0.0025
    memory, treads, forces = np.zeros(M_SIZE), tread_arrays(tyre), []
    for k in range(STEPS):
        origin[:, :3] = (-0.03 + SPEED * DT * k) * lane[:, 0]
        origin[:, 2] = height
        rc, rs = math.cos(pace * DT * k), math.sin(pace * DT * k)
        rolls = np.array([[rc, 0.0, rs], [0.0, 1.0, 0.0], [-rs, 0.0, rc]])
        wheels = np.zeros((4, W_SIZE))
        tyre_forces(controls, memory, a.tyre, a.pressure, *treads, ground,
                    Motion(np.tile(lane @ rolls, (count, 1, 1)), origin, spin, velocity), np.zeros((count, 6)), wheels)
        forces.append(lane.T @ wheels[0, W_FX : W_FZ + 1])
    return np.mean(forces[STEPS // 3 :], axis=0)


@pytest.mark.parametrize("degrees", [20, 30, 50])
def test_the_heading_to_the_grid_changes_no_force(degrees: int) -> None:
    """Parts of ground as long as on level ground differed by 3 to 9 % of the load here."""
    straight = rolled(degrees, 0.0)
    assert straight[2] > 0.05
    for heading in (10.0, -10.0, 20.0, -20.0):
        turned = rolled(degrees, math.radians(heading))
        assert np.abs(turned - straight).max() < 0.012 * float(np.hypot(*straight[1:]))
