"""Where every body of a truck was during a recorded trial: the tree of bodies walked once for all samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from models.rigid import RigidModel
from sim.trial.result import Trace

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Poses:
    """World poses over n samples of the 11 bodies, in the order of models.rigid.BODY_NAMES."""

    rotation: Array
    """(n, 11, 3, 3), body to world."""
    origin: Array
    """(n, 11, 3) m."""
    cg: Array
    """(n, 3) centre of gravity of the whole truck, m."""


def poses(model: RigidModel, trace: Trace) -> Poses:
    """Forward kinematics from the chassis pose and the joint positions of a trace."""
    n, bodies = len(trace.time), len(model.bodies)
    rotation = np.empty((n, bodies, 3, 3))
    origin = np.empty((n, bodies, 3))
    rotation[:, 0] = _matrices(trace.base[:, 3:7])
    origin[:, 0] = trace.base[:, :3]
    for b, body in enumerate(model.bodies[1:], start=1):
        q = trace.joints[:, b - 1]
        parent = rotation[:, body.parent]
        offset = np.broadcast_to(body.p_PJ, (n, 3))
        if body.joint == "prismatic":
            offset = offset + q[:, None] * body.axis
            rotation[:, b] = parent
        else:
            rotation[:, b] = parent @ Rotation.from_rotvec(q[:, None] * body.axis).as_matrix()
        origin[:, b] = origin[:, body.parent] + np.einsum("nij,nj->ni", parent, offset)
    mass = np.array([body.mass for body in model.bodies])
    local = np.array([body.p_BBcm for body in model.bodies])
    centres = origin + np.einsum("nbij,bj->nbi", rotation, local)
    return Poses(rotation, origin, np.einsum("b,nbi->ni", mass, centres) / mass.sum())


def quaternions(rotation: Array) -> Array:
    """Quaternions x, y, z, w (n, k, 4) of matrices (n, k, 3, 3), without jumps of sign from sample to sample."""
    n, k = rotation.shape[:2]
    q = Rotation.from_matrix(rotation.reshape(-1, 3, 3)).as_quat().reshape(n, k, 4)
    turned = np.sum(q[1:] * q[:-1], axis=-1) < 0.0
    sign = np.where(np.cumsum(turned, axis=0) % 2 == 1, -1.0, 1.0)
    q[1:] *= sign[..., None]
    return np.asarray(q)


def _matrices(quaternion: Array) -> Array:
    """Rotation matrices of quaternions that may have lost their last digits in storage."""
    size = np.linalg.norm(quaternion, axis=1, keepdims=True)
    # A solver that blew up leaves zeros or worse; such a trial is shown as it is, upright.
    bad = ~np.isfinite(size) | (size < 1e-6)
    safe = np.where(bad, np.array([0.0, 0.0, 0.0, 1.0]), quaternion)
    return np.asarray(Rotation.from_quat(safe).as_matrix())
