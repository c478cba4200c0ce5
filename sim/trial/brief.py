"""What an attempt is told before it starts, as the row that its kernels read."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from sim.trial.driver import LOOK, Driver
from sim.trial.referee import WALKING_PACE
from sim.trial.rows import (
    B_ASIDE,
    B_BACK_OFF,
    B_BUMPS,
    B_DELAY,
    B_FINISH,
    B_FLOOR,
    B_LANE,
    B_LIGHT,
    B_PACE,
    B_PATIENCE,
    B_RADIUS,
    B_REACH,
    B_SIZE,
    B_SPEED,
    B_TIME_LIMIT,
    B_TOP_SPEED,
    B_WEIGHT,
    B_WHEELBASE,
    N_BEST,
    N_ENERGY,
    N_FAR,
    N_FAST_SINCE,
    N_LOW_SINCE,
    N_SEEN,
)
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]


def brief_of(model: RigidModel, obstacle: Obstacle, driver: Driver) -> Array:
    """What the kernels of an attempt have to know of truck, ground and driver, as the row B_* (sim.trial.rows)."""
    base, weight = model.wheelbase, model.mass * GRAVITY
    radius = float(model.origins()[WHEEL_BODIES[2], 2])  # rear wheel centre above ground: the rolling radius
    brief = np.zeros(B_SIZE)
    forward = driver.descent_speed if obstacle.descending else driver.crawl_speed
    brief[B_SPEED : B_SPEED + 4] = np.array([forward, -driver.crawl_speed, driver.bump_speed, 0.0]) * base
    brief[B_BUMPS], brief[B_PATIENCE], brief[B_BACK_OFF] = driver.bumps, driver.patience, driver.back_off * base
    brief[B_REACH], brief[B_LIGHT] = driver.look_ahead * base, 0.25 * driver.light * weight
    brief[B_ASIDE : B_ASIDE + 3] = driver.sidestep * min(model.track) * np.array([0.0, 1.0, -1.0])
    brief[B_DELAY] = max(round(driver.reaction / LOOK), 0)
    brief[B_WHEELBASE], brief[B_RADIUS], brief[B_WEIGHT] = base, radius, weight
    brief[B_TOP_SPEED] = float(model.drive.voltage) / model.drive.kt / float(model.drive.rear_reduction) * radius
    brief[B_FINISH], brief[B_LANE] = obstacle.finish_s, obstacle.lane_half_width
    brief[B_TIME_LIMIT] = _time_limit(obstacle, driver, base)
    brief[B_FLOOR] = float(obstacle.ground.z.min()) - base
    brief[B_PACE] = WALKING_PACE / math.sqrt(model.scale) if obstacle.descending else math.inf
    return brief


def blank_notes(brief: Array) -> Array:
    """Notes of an attempt that has not begun, with room for what the driver sees before he answers."""
    notes = np.zeros(N_SEEN + int(brief[B_DELAY]) + 1)
    notes[N_BEST] = notes[N_FAR] = -math.inf
    notes[N_LOW_SINCE] = notes[N_FAST_SINCE] = -1.0
    notes[N_ENERGY] = math.nan
    return notes


def _time_limit(obstacle: Obstacle, driver: Driver, wheelbase: float) -> float:
    """Three times what the way takes at the slowest speed, plus a pause for every bump, s."""
    slowest = min(driver.crawl_speed, driver.descent_speed) * wheelbase
    return 4.0 + 3.0 * obstacle.finish_s / slowest + 4.0 * driver.patience * driver.bumps
