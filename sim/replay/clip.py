"""One recorded trial, ready to be drawn: what drove, on what ground, where every body was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.assemble import rigid_model
from models.rigid import RigidModel
from models.spec import Sheet
from sim.replay.pose import Poses, poses
from sim.replay.truck_shape import TruckShape, truck_shape
from sim.store.store import Trial
from sim.trial import ground_cache
from sim.trial.result import Trace
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
OVER = -30.0
"""deg; a truck that fell further is over, how far the number goes on does not matter."""


@dataclass(frozen=True)
class Actor:
    """A truck that can be drawn; many clips share one."""

    name: str
    model: RigidModel
    shape: TruckShape


@dataclass(frozen=True)
class Clip:
    """A recorded trial."""

    actor: Actor
    place: str
    """Obstacle as it is written on the command line."""
    repeat: int
    outcome: str
    reason: str
    obstacle: Obstacle
    trace: Trace
    poses: Poses

    @property
    def label(self) -> str:
        """Obstacle and level for people: ``climb 52°``."""
        made = self.obstacle
        unit = "°" if made.unit == "deg" else f" {made.unit}" if made.unit else ""
        return f"{made.family.replace('-', ' ')} {made.level:g}{unit}"

    @property
    def shown_margin(self) -> Array:
        """Tip-over margin at every sample, deg, as it is shown: not below ``OVER``, where a truck that rolled stays.

        On its roof it stands firmly again, which is not what the number is read for.
        """
        margin = np.maximum(np.degrees(self.trace.margin), OVER)
        over = np.flatnonzero(margin <= OVER)
        if self.outcome == "rolled" and len(over):
            margin[over[0] :] = OVER
        return margin

    @property
    def duration(self) -> float:
        """s."""
        return float(self.trace.time[-1] - self.trace.time[0])


def actor(name: str, sheet: Sheet, before: Sheet | None = None) -> Actor:
    """Assemble a truck for drawing from a resolved sheet; what differs from ``before`` is marked.

    :raises BuildSheetError: a sheet that cannot be assembled here, such as one whose mesh file is gone.
    """
    model = rigid_model(sheet)
    return Actor(name, model, truck_shape(sheet, model, before))


def clip(who: Actor, trial: Trial, trace: Trace) -> Clip:
    """Put a stored trial, its motion and its ground together."""
    task = trial.task
    ground = ground_cache.ground(task.obstacle, task.level, task.yard, task.draw.roughness_mm, task.draw.rock_seed)
    written = ground_cache.shown(task.obstacle, task.level)
    record = trial.record
    return Clip(who, written, task.repeat, record.outcome, record.reason, ground, trace, poses(who.model, trace))


def camera_path(found: Clip) -> Array:
    """Points (n, 3) that a camera follows: the centre of gravity, smoothed over about a second."""
    cg = found.poses.cg
    width = max(1, round(0.5 / found.trace.interval))
    kernel = np.hanning(2 * width + 1)[1:-1] if width > 1 else np.ones(1)
    kernel = kernel / kernel.sum()
    reach = len(kernel) // 2
    padded = np.pad(cg, ((reach, reach), (0, 0)), mode="edge")
    return np.stack([np.convolve(padded[:, k], kernel, mode="valid") for k in range(3)], axis=1)
