"""Rotations outside the kernels."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def quaternion(rotation: Array) -> tuple[float, float, float, float]:
    """Quaternion x, y, z, w of a rotation matrix, by its largest component (Shepperd 1978)."""
    trace = float(np.trace(rotation))
    scores = np.array([*np.diag(rotation), trace])
    k = int(np.argmax(scores))
    q = np.empty(4)
    if k == 3:
        q[:3] = (rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1])
        q[3] = 1.0 + trace
    else:
        i, j, m = k, (k + 1) % 3, (k + 2) % 3
        q[i] = 1.0 + 2.0 * rotation[i, i] - trace
        q[j] = rotation[j, i] + rotation[i, j]
        q[m] = rotation[m, i] + rotation[i, m]
        q[3] = rotation[m, j] - rotation[j, m]
    x, y, z, w = q / np.linalg.norm(q)
    return float(x), float(y), float(z), float(w)


def roll_pitch_yaw(rotation: Array) -> tuple[float, float, float]:
    """Angles (rad) about the fixed x, y, z axes, in that order, of a rotation matrix."""
    return (
        math.atan2(rotation[2, 1], rotation[2, 2]),
        math.atan2(-rotation[2, 0], math.hypot(rotation[2, 1], rotation[2, 2])),
        math.atan2(rotation[1, 0], rotation[0, 0]),
    )
