"""Random states of the truck and forces on it, of the size of the real ones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.rigid import JOINT_COUNT
from sim.physics.arrays import O_FORCE, O_SIZE, O_TAU, O_TORQUE, S_POS, S_Q, S_QD, S_QUAT, S_SIZE, S_VEL

Array = NDArray[np.float64]


def random_state(seed: int) -> Array:
    """State row with every pose and speed of order one, joints within their travel."""
    rng = np.random.default_rng(seed)
    state = np.zeros(S_SIZE)
    state[S_POS:S_QUAT] = rng.normal(size=3)
    state[S_QUAT:S_VEL] = Rotation.random(random_state=seed).as_quat()
    state[S_VEL:S_Q] = rng.normal(size=6)
    state[S_Q:S_QD] = 0.05 * rng.normal(size=JOINT_COUNT)
    state[S_QD:] = rng.normal(size=JOINT_COUNT)
    return state


def forces_for(seed: int) -> Array:
    """Base wrench at the engine's base point and joint efforts, of the size of the truck's own."""
    rng = np.random.default_rng(50 + seed)
    out = np.zeros(O_SIZE)
    out[O_FORCE:O_TORQUE] = 20.0 * rng.normal(size=3)
    out[O_TORQUE:O_TAU] = 2.0 * rng.normal(size=3)
    out[O_TAU:] = 0.5 * rng.normal(size=JOINT_COUNT)
    return out
