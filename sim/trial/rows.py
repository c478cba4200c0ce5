"""What a trial's kernels read and keep between looks: two flat rows, with the places in them."""

from __future__ import annotations

from sim.physics.arrays import places

ROOM_FOR_MEASURES = 16
# The brief of a trial, constant while it lasts: who drives (tread speeds of the four moves in m/s, lengths in m, angles
# in rad, the light wheel in N, delay in looks), and what ends it.
(
    B_SPEED, B_BUMPS, B_PATIENCE, B_BACK_OFF, B_REACH, B_ASIDE, B_LIGHT, B_DELAY, B_WHEELBASE, B_RADIUS, B_TOP_SPEED,
    B_WEIGHT, B_FINISH, B_LANE, B_TIME_LIMIT, B_FLOOR, B_PACE, B_SIZE,
) = places(4, 1, 1, 1, 1, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)  # fmt: skip
# Notes between looks. Of the trial: phase, looks in it, time, code of the verdict. Of the driver: move and when it
# began, bumps tried, best place and when, tread travelled and speed error wound on in this move, steering. Of the
# referee: best place, energy at the start, since when the margin was low and the slide fast, slip of late, speed and
# slide averaged. Then what sim.trial.measures keeps, and last in the row what was seen and not yet answered
# (B_DELAY + 1).
(
    N_PHASE, N_LOOKS, N_TIME, N_CODE, N_MOVE, N_MOVE_TIME, N_TRIED, N_BEST, N_BEST_TIME, N_TREAD, N_WOUND, N_STEER,
    N_FAR, N_ENERGY, N_LOW_SINCE, N_FAST_SINCE, N_SLIP, N_SPEED, N_SLIDE, N_MEASURES, N_SEEN,
) = places(*[1] * 19, ROOM_FOR_MEASURES)  # fmt: skip

SETTLING, STARTING, DRIVING, OVER = range(4)
"""Phases of a trial, in their order."""
CRAWL, REVERSE, BUMP, BEATEN = range(4)
"""Moves of a driver."""
